-- A check of a finished pair as it was judged. The documents are what was typed and the verdict in words, as printed;
-- the rows below are its figures.
create table verification (
    id blob primary key,
    job_number integer not null references job (number),
    attempt integer not null,                   -- 1, 2, ...
    profile text not null references tolerance_profile (key),
    reading text not null constraint verification_reading check (json_valid(reading)),
    verdict text not null constraint verification_verdict check (json_valid(verdict)),
    passed integer not null constraint verification_passed check (passed in (0, 1)),
    at text not null constraint verification_at check (at like '____-__-__T__:__:__.___Z'),
    constraint verification_once unique (job_number, attempt)
) strict;
create trigger verification_is_never_changed before update on verification begin
    select raise(abort, 'verification is never changed');
end;
create trigger verification_is_never_removed before delete on verification begin
    select raise(abort, 'verification is never removed');
end;

create table verification_row (
    verification_id blob not null references verification (id),
    position integer not null,
    eye text constraint verification_row_eye check (eye in ('right', 'left')), -- null: the pair
    quantity text not null references quantity (key),
    unit text not null,                         -- d, deg, pd, mm: the unit of the figures beside it
    wanted real,
    measured real,                              -- null: not measured
    limit_size real not null,                   -- the largest deviation allowed
    deviation real,                             -- its size, never negative
    passes integer not null constraint verification_row_passes check (passes in (0, 1)),
    primary key (verification_id, position)
) strict, without rowid;
create trigger verification_row_is_never_changed before update on verification_row begin
    select raise(abort, 'verification_row is never changed');
end;
create trigger verification_row_is_never_removed before delete on verification_row begin
    select raise(abort, 'verification_row is never removed');
end;

-- A pair that did not pass and is sent, and why. It prints. It belongs to the check it was given for, and is open until
-- the next check of the job.
create table concession (
    verification_id blob primary key references verification (id),
    job_number integer not null references job (number),
    reason text not null constraint concession_reason check (length(trim(reason)) >= 10),
    is_open integer not null default 1 constraint concession_is_open check (is_open in (0, 1)),
    at text not null constraint concession_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create unique index concession_open_once on concession (job_number) where is_open = 1;
create trigger concession_is_never_changed before update on concession
when old.is_open = 0 or new.is_open <> 0 or new.verification_id <> old.verification_id or new.job_number <> old.job_number
    or new.reason <> old.reason or new.at <> old.at begin
    select raise(abort, 'concession is never changed');
end;
create trigger concession_is_never_removed before delete on concession begin select raise(abort, 'concession is never removed'); end;
create trigger concession_ends_with_the_next_check after insert on verification begin
    update concession set is_open = 0 where job_number = new.job_number and is_open = 1;
end;
