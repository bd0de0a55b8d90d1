-- What the customer is asked to pay, line by line. A line is taken back by another that reverses it.
create table charge (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    kind text not null references charge_kind (key),
    eye text constraint charge_eye check (eye in ('right', 'left')),
    what text not null,
    code text not null default '',              -- procedure code, '' for none
    amount_cents integer not null constraint charge_amount check (amount_cents between -100000000 and 100000000),
    reverses integer constraint charge_reverses_once unique references charge (seq),
    reason text not null default '',            -- why, for a line that came after the order
    at text not null constraint charge_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index charge_by_job on charge (job_number, seq);
create trigger charge_is_never_changed before update on charge begin select raise(abort, 'charge is never changed'); end;
create trigger charge_is_never_removed before delete on charge begin select raise(abort, 'charge is never removed'); end;

-- Money that came in, or negative, went back.
create table payment (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    kind text not null references payment_kind (key),
    amount_cents integer not null constraint payment_amount check (amount_cents between -100000000 and 100000000 and amount_cents <> 0),
    paid_on text not null,
    reason text not null default '',
    at text not null constraint payment_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index payment_by_job on payment (job_number, seq);
create index payment_by_day on payment (paid_on, seq);
create trigger payment_is_never_changed before update on payment begin select raise(abort, 'payment is never changed'); end;
create trigger payment_is_never_removed before delete on payment begin select raise(abort, 'payment is never removed'); end;

-- A receipt is the document itself, kept whole: prices and names may change later, this may not.
create table receipt (
    number integer primary key autoincrement,
    job_number integer not null references job (number),
    corrects integer constraint receipt_corrects_once unique references receipt (number),
    document text not null constraint receipt_document check (json_valid(document)),
    issued_on text not null,
    total_cents integer not null,               -- as the document says
    paid_cents integer not null,
    issued_at text not null constraint receipt_issued_at check (issued_at like '____-__-__T__:__:__.___Z')
) strict;
insert into sqlite_sequence (name, seq) values ('receipt', 5000);
create index receipt_by_job on receipt (job_number, number);
create index receipt_by_day on receipt (issued_on, number);
create trigger receipt_is_never_changed before update on receipt begin select raise(abort, 'receipt is never changed'); end;
create trigger receipt_is_never_removed before delete on receipt begin select raise(abort, 'receipt is never removed'); end;
