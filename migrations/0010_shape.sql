-- A frame shape: of one traced frame, or of a frame model. Kept for good.
create table shape (
    id blob primary key,
    job_number integer references job (number), -- the job it was traced for
    frame_id blob references frame (id),        -- the frame model it stands for
    parent_id blob references shape (id),       -- the shape it was made from
    origin text not null references shape_origin (key),
    dbl_hundredths integer not null constraint shape_dbl check (dbl_hundredths between 500 and 4000),
    dbl_source text not null references dbl_source (key),
    original_id blob references attachment (id), -- the file it was read from
    added_at text not null constraint shape_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    constraint shape_of_something check (job_number is not null or frame_id is not null or parent_id is not null)
) strict;
create index shape_by_job on shape (job_number) where job_number is not null;
create index shape_by_frame on shape (frame_id) where frame_id is not null;
create index shape_by_parent on shape (parent_id) where parent_id is not null;
create trigger shape_is_never_changed before update on shape begin select raise(abort, 'shape is never changed'); end;
create trigger shape_is_never_removed before delete on shape begin select raise(abort, 'shape is never removed'); end;

-- One eye of it. The sizes are those of the trace's polygon, in hundredths of a millimetre.
create table shape_eye (
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
) strict, without rowid;
create trigger shape_eye_is_never_changed before update on shape_eye begin select raise(abort, 'shape_eye is never changed'); end;
create trigger shape_eye_is_never_removed before delete on shape_eye begin select raise(abort, 'shape_eye is never removed'); end;

-- What was odd in the file, as it was said when it was read.
create table shape_warning (
    shape_id blob not null references shape (id),
    position integer not null,
    kind text not null,
    says text not null,
    primary key (shape_id, position)
) strict, without rowid;
create trigger shape_warning_is_never_changed before update on shape_warning begin
    select raise(abort, 'shape_warning is never changed');
end;
create trigger shape_warning_is_never_removed before delete on shape_warning begin
    select raise(abort, 'shape_warning is never removed');
end;

-- Which shape a job uses: the newest row. New lenses point at the shape of the earlier job.
create table job_shape (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    shape_id blob not null references shape (id),
    added_at text not null constraint job_shape_added_at check (added_at like '____-__-__T__:__:__.___Z')
) strict;
create index job_shape_by_job on job_shape (job_number, seq);
create index job_shape_by_shape on job_shape (shape_id, job_number);
create trigger job_shape_is_never_changed before update on job_shape begin select raise(abort, 'job_shape is never changed'); end;
create trigger job_shape_is_never_removed before delete on job_shape begin select raise(abort, 'job_shape is never removed'); end;
