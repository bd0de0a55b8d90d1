-- A job is also found by who gets its parcel, as by who pays for it.
create index job_revision_by_recipient on job_revision (recipient_id, job_number) where recipient_id <> patient_id;

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
                               from shipment where job_number = j.number), '') as numbers
from job j
join job_revision r on r.job_number = j.number and r.revision = j.revision
join customer_words c on c.id = j.patient_id
join frame_words f on f.id = j.frame_id
join prescription x on x.id = r.prescription_id;

insert or replace into job_search (rowid, person, frame, numbers)
select w.number, w.person, w.frame, w.numbers
from job_words w
join job j on j.number = w.number
join job_revision r on r.job_number = j.number and r.revision = j.revision
where r.recipient_id <> r.patient_id;
