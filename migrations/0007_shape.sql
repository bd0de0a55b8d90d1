-- A traced frame shape and the very bytes it came from, kept for good.
create table shape (
    id blob primary key,
    job_number integer not null references job (number), -- the job it was traced for
    right_trace blob not null,                  -- see shape::outline::Trace::to_bytes
    left_trace blob not null,
    derived text constraint shape_derived check (derived in ('right', 'left')), -- the eye that is only a mirror of the other
    dbl_hundredths integer not null constraint shape_dbl check (dbl_hundredths between 500 and 4000),
    original blob not null,
    original_name text not null,
    added_at text not null
) strict;
create trigger shape_is_never_changed before update on shape begin select raise(abort, 'a shape is never changed'); end;
create trigger shape_is_never_removed before delete on shape begin select raise(abort, 'a shape is never removed'); end;

-- Which shape a job uses: the newest row. A re-lens points at the shape of the earlier job.
create table job_shape (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    shape_id blob not null references shape (id),
    added_at text not null
) strict;
create index job_shape_by_job on job_shape (job_number, seq);
