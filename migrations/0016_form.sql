-- What is typed in a form but not yet sent. It goes when the form is done, or after 30 days.
create table draft (
    key text primary key constraint draft_key check (length(key) between 1 and 80),
    fields text not null constraint draft_fields check (json_valid(fields)),
    saved_at text not null constraint draft_saved_at check (saved_at like '____-__-__T__:__:__.___Z')
) strict, without rowid;
create index draft_by_age on draft (saved_at);

-- What came of a form that was done, so that a second click finds it. Kept for 90 days.
create table form_outcome (
    key text primary key constraint form_outcome_key check (length(key) between 1 and 80),
    outcome text not null,                      -- what it made: a number or a key
    done_at text not null constraint form_outcome_done_at check (done_at like '____-__-__T__:__:__.___Z')
) strict, without rowid;
create index form_outcome_by_age on form_outcome (done_at);
