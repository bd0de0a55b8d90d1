-- Files that are kept: the bytes once by their SHA-256, and what each file is.
create table attachment_bytes (
    hash blob primary key constraint attachment_bytes_hash check (length(hash) = 32),
    bytes blob not null
) strict;
create trigger attachment_bytes_is_never_changed before update on attachment_bytes begin
    select raise(abort, 'attachment_bytes is never changed');
end;
create trigger attachment_bytes_is_never_removed before delete on attachment_bytes begin
    select raise(abort, 'attachment_bytes is never removed');
end;

create table attachment (
    id blob primary key,
    hash blob not null references attachment_bytes (hash),
    kind text not null references attachment_kind (key),
    name text not null constraint attachment_name check (length(name) between 1 and 200), -- the file's name, or what it was
    job_number integer references job (number), -- the job it was brought for
    added_at text not null constraint attachment_added_at check (added_at like '____-__-__T__:__:__.___Z')
) strict;
create index attachment_by_hash on attachment (hash);
create index attachment_by_job on attachment (job_number) where job_number is not null;
create trigger attachment_is_never_changed before update on attachment begin select raise(abort, 'attachment is never changed'); end;
create trigger attachment_is_never_removed before delete on attachment begin select raise(abort, 'attachment is never removed'); end;
