-- What is typed in a form but not yet sent, and afterwards where it went: a form with an outcome is never done twice.
create table draft (
    key text primary key constraint draft_key check (length(key) between 1 and 80),
    fields text not null constraint draft_fields check (json_valid(fields)),
    outcome text,                               -- the page the finished form led to
    saved_at text not null
) strict;
