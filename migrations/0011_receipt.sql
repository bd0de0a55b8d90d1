-- A receipt is the document itself, kept whole: prices and names may change later, this may not.
create table receipt (
    number integer primary key autoincrement,
    job_number integer not null references job (number),
    corrects integer references receipt (number),
    document text not null constraint receipt_document check (json_valid(document)),
    issued_at text not null
) strict;
insert into sqlite_sequence (name, seq) values ('receipt', 5000);
create index receipt_by_job on receipt (job_number, number);
create trigger receipt_is_never_changed before update on receipt begin select raise(abort, 'a receipt is never changed'); end;
create trigger receipt_is_never_removed before delete on receipt begin select raise(abort, 'a receipt is never removed'); end;
