-- How the owner matched the columns of a table of old records: the next table with the same heads is matched so.
create table old_matching (
    heads text primary key constraint old_matching_heads check (length(heads) = 16), -- a hash: the first row may be anything
    fields text not null,                       -- JSON, the fields of the page of the columns: pairs of a name and a value
    saved_at text not null constraint old_matching_saved_at check (saved_at like '____-__-__T__:__:__.___Z')
) strict;
