-- Jobs of before Rimbook, brought in from a folder of trace files and a table. Each is a row of `job` at the stage
-- `brought_in`, so that it is found, and lends its frame and its shape, as any other. It is closed, and nothing is made,
-- billed or sent for it. Its material is the retired one called "Not recorded", which the first import adds.
insert into stage (key, position) values ('brought_in', 9);
insert into event_kind (key, effect, meaning) values
    ('brought_in', 'closes', 'the job was made before Rimbook, and its record was brought in');

-- What was brought in at one time.
create table old_import (
    seq integer primary key autoincrement,
    folder text not null,                       -- of the trace files, as it was named
    table_name text not null,                   -- the name of the file with the table
    jobs_made integer not null,
    shapes_made integer not null,
    customers_made integer not null,
    frames_made integer not null,
    already_here integer not null,              -- rows that were brought in before
    left_out integer not null,                  -- rows that the owner left out, because something was wrong with them
    first_job integer,                          -- the first of the new jobs; the others follow it
    at text not null constraint old_import_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create trigger old_import_is_never_changed before update on old_import begin
    select raise(abort, 'old_import is never changed');
end;
create trigger old_import_is_never_removed before delete on old_import begin
    select raise(abort, 'old_import is never removed');
end;

create table old_record (
    job_number integer primary key references job (number),
    import_seq integer not null references old_import (seq),
    line integer not null,                      -- its row in the table, counted as a spreadsheet does
    number text not null constraint old_record_number check (length(number) between 1 and 40), -- of then, as it was written
    number_key text not null constraint old_record_once unique, -- without capitals, blanks and zeros before it
    has_date integer not null constraint old_record_has_date check (has_date in (0, 1)), -- 0: the job's day is that of the import
    -- SHA-256 of what the row and the trace file said: a second import finds the job by it
    hash blob not null constraint old_record_hash check (length(hash) = 32),
    constraint old_record_contents_once unique (hash)
) strict;
create trigger old_record_is_never_changed before update on old_record begin
    select raise(abort, 'old_record is never changed');
end;
create trigger old_record_is_never_removed before delete on old_record begin
    select raise(abort, 'old_record is never removed');
end;

-- A table that was uploaded and not brought in yet. It goes when it is, or after 30 days.
create table old_upload (
    key text primary key constraint old_upload_key check (length(key) between 1 and 80),
    name text not null constraint old_upload_name check (length(name) between 1 and 200),
    bytes blob not null,
    saved_at text not null constraint old_upload_saved_at check (saved_at like '____-__-__T__:__:__.___Z')
) strict;

-- A job is also found by the number it had then.
drop view job_words;
create view job_words as
select j.number,
       c.name || ' ' || c.place || ' ' || c.phone || ' ' || c.email || ' '
           || coalesce((select p.name || ' ' || p.phone || ' ' || p.email from customer_words p
                        where p.id = r.payer_id and r.payer_id <> j.patient_id), '') || ' '
           || coalesce((select p.name || ' ' || p.place || ' ' || p.phone || ' ' || p.email from customer_words p
                        where p.id = r.recipient_id and r.recipient_id <> j.patient_id), '')
           || ' ' || x.prescriber as person,
       f.words as frame,
       j.number || ' ' || substr(j.ordered_on, 1, 4)
           || ' ' || coalesce((select group_concat(number, ' ') from receipt where job_number = j.number), '')
           || ' ' || coalesce((select group_concat(tracking || ' ' || replace(replace(tracking, ' ', ''), '-', ''), ' ')
                               from shipment where job_number = j.number), '')
           || ' ' || coalesce((select number || ' ' || replace(replace(number, ' ', ''), '-', '') || ' ' || number_key
                               from old_record where job_number = j.number), '') as numbers
from job j
join job_revision r on r.job_number = j.number and r.revision = j.revision
join customer_words c on c.id = j.patient_id
join frame_words f on f.id = j.frame_id
join prescription x on x.id = r.prescription_id;
