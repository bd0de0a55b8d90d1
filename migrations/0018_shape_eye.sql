-- The eyes of a shape, with row ids. Each row holds a trace of about 800 bytes. Kept in the tree of its key, as before, four
-- rows filled a page, and the tree of half a million was nine pages deep. Nothing else changes.
create table shape_eye_with_rowid (
    shape_id blob not null references shape (id),
    eye text not null constraint shape_eye_eye check (eye in ('right', 'left')),
    trace blob not null,                        -- see shape::trace::Trace::to_bytes
    is_mirror integer not null constraint shape_eye_is_mirror check (is_mirror in (0, 1)), -- it was not traced: it mirrors the other eye
    a_hundredths integer not null,
    b_hundredths integer not null,
    ed_hundredths integer not null,
    circumference_hundredths integer not null,  -- flat
    rim_curve_hundredths integer,               -- the rim's own curve, tool power 1.530, where the trace has depth
    primary key (shape_id, eye)
) strict;
insert into shape_eye_with_rowid select * from shape_eye;
drop table shape_eye;
alter table shape_eye_with_rowid rename to shape_eye;
create trigger shape_eye_is_never_changed before update on shape_eye begin select raise(abort, 'shape_eye is never changed'); end;
create trigger shape_eye_is_never_removed before delete on shape_eye begin select raise(abort, 'shape_eye is never removed'); end;
