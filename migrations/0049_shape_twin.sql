-- Shapes of other jobs that a new shape looked like when it was put on file, the most alike first.
create table shape_twin (
    shape_id blob not null references shape (id),
    position integer not null,
    twin_id blob not null references shape (id),
    -- The largest gap after the best alignment, in thousandths of a millimeter.
    gap_thousandths integer not null constraint twin_gap check (gap_thousandths between 0 and 5000),
    is_mirrored integer not null constraint twin_is_mirrored check (is_mirrored in (0, 1)),
    primary key (shape_id, position)
) strict, without rowid;

create trigger shape_twin_is_never_changed before update on shape_twin begin
    select raise(abort, 'shape_twin is never changed');
end;
create trigger shape_twin_is_never_removed before delete on shape_twin begin
    select raise(abort, 'shape_twin is never removed');
end;
