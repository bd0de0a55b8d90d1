-- One reading of a finished pair against the tolerances of the day, kept line by line as it was judged.
create table verification (
    id blob primary key,
    job_number integer not null references job (number),
    attempt integer not null,
    profile text not null,
    reading text not null constraint verification_reading check (json_valid(reading)),   -- as typed
    verdict text not null constraint verification_verdict check (json_valid(verdict)),   -- the lines as judged
    passed integer not null constraint verification_passed check (passed in (0, 1)),
    added_at text not null,
    constraint verification_once unique (job_number, attempt)
) strict;

-- A pair that failed and is sent all the same, and why. It prints.
create table verification_excuse (
    verification_id blob primary key references verification (id),
    reason text not null constraint excuse_reason check (length(trim(reason)) >= 10),
    added_at text not null
) strict;
