-- What the book holds of a customer is taken out at their request, as far as nothing has to be kept (migrations/README.md, "Erasing").
insert into event_kind (key, effect, meaning) values
    ('erased', '', 'what the job held of its customer was erased at their request');

-- That a customer asked, and how. Written first, and never taken back.
create table erasure (
    seq integer primary key autoincrement,
    customer_id blob not null references customer (id),
    reason text not null constraint erasure_reason check (length(reason) between 1 and 300), -- who asked, how and when
    jobs_erased integer not null,
    kept_until text,                            -- the day from which the rest may go; null: nothing is left
    at text not null constraint erasure_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index erasure_by_customer on erasure (customer_id, seq);
create trigger erasure_is_never_changed before update on erasure begin select raise(abort, 'erasure is never changed'); end;
create trigger erasure_is_never_removed before delete on erasure begin select raise(abort, 'erasure is never removed'); end;

-- The customer who is being erased. It has a row only inside the transaction that erases; outside of it the triggers below refuse
-- everything, as they always did.
create table erasing (customer_id blob primary key references customer (id)) strict;
create trigger erasing_needs_a_request before insert on erasing
when (select customer_id from erasure order by seq desc limit 1) is not new.customer_id begin
    select raise(abort, 'a customer is erased only at their request');
end;

-- Jobs whose records may go now: their history says so.
create view erasable_job as
select j.number from erasing x join job j on j.patient_id = x.customer_id
where exists (select 1 from job_event e where e.job_number = j.number and e.kind = 'erased');

-- A prescription may be that of several jobs; it goes with the last of them.
create view erasable_prescription as
select p.id from erasing x join prescription p on p.patient_id = x.customer_id
where not exists (select 1 from job j join job_revision r on r.job_number = j.number and r.prescription_id = p.id
                  where j.patient_id = p.patient_id
                    and not exists (select 1 from job_event e where e.job_number = j.number and e.kind = 'erased'));

-- Jobs that name the customer as the one who wears the pair, pays for it or gets the parcel.
create view erasable_address as
select r.job_number from erasing x join job_revision r on x.customer_id in (r.patient_id, r.payer_id, r.recipient_id);

-- Earlier details of a customer.
drop trigger customer_past_is_never_removed;
create trigger customer_past_is_never_removed before delete on customer_past
when not exists (select 1 from erasing where customer_id = old.customer_id) begin
    select raise(abort, 'customer_past is never removed');
end;

-- Rows that go with their job.
drop trigger position_of_wear_is_never_removed;
create trigger position_of_wear_is_never_removed before delete on position_of_wear
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'position_of_wear is never removed');
end;
drop trigger power_decision_is_never_removed;
create trigger power_decision_is_never_removed before delete on power_decision
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'power_decision is never removed');
end;
drop trigger verification_is_never_removed;
create trigger verification_is_never_removed before delete on verification
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'verification is never removed');
end;
drop trigger layout_is_never_removed;
create trigger layout_is_never_removed before delete on layout
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'layout is never removed');
end;
drop trigger cut_is_never_removed;
create trigger cut_is_never_removed before delete on cut
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'cut is never removed');
end;
drop trigger delay_notice_is_never_removed;
create trigger delay_notice_is_never_removed before delete on delay_notice
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'delay_notice is never removed');
end;
drop trigger promise_answer_is_never_removed;
create trigger promise_answer_is_never_removed before delete on promise_answer
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'promise_answer is never removed');
end;
drop trigger supplier_list_is_never_removed;
create trigger supplier_list_is_never_removed before delete on supplier_list
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'supplier_list is never removed');
end;
drop trigger concession_is_never_removed;
create trigger concession_is_never_removed before delete on concession
when not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'concession is never removed');
end;
drop trigger power_decision_eye_is_never_removed;
create trigger power_decision_eye_is_never_removed before delete on power_decision_eye
when not exists (select 1 from erasable_job where number = (select job_number from power_decision where seq =
    old.decision_seq)) begin
    select raise(abort, 'power_decision_eye is never removed');
end;
drop trigger verification_row_is_never_removed;
create trigger verification_row_is_never_removed before delete on verification_row
when not exists (select 1 from erasable_job where number = (select job_number from verification where id =
    old.verification_id)) begin
    select raise(abort, 'verification_row is never removed');
end;
drop trigger layout_eye_is_never_removed;
create trigger layout_eye_is_never_removed before delete on layout_eye
when not exists (select 1 from erasable_job where number = (select job_number from layout where seq = old.layout_seq)) begin
    select raise(abort, 'layout_eye is never removed');
end;
drop trigger cut_eye_is_never_removed;
create trigger cut_eye_is_never_removed before delete on cut_eye
when not exists (select 1 from erasable_job where number = (select job_number from cut where seq = old.cut_seq)) begin
    select raise(abort, 'cut_eye is never removed');
end;
drop trigger supplier_offer_is_never_removed;
create trigger supplier_offer_is_never_removed before delete on supplier_offer
when not exists (select 1 from erasable_job where number = (select job_number from supplier_list where seq = old.list_seq)) begin
    select raise(abort, 'supplier_offer is never removed');
end;
drop trigger wanted_prism_is_never_removed;
create trigger wanted_prism_is_never_removed before delete on wanted_prism
when not exists (select 1 from erasable_job where number = (select job_number from supplier_list where seq = old.list_seq)) begin
    select raise(abort, 'wanted_prism is never removed');
end;

-- Rows that other rows point at, or that say what was paid and sent: what they hold of a person is made blank, the row stays.
drop trigger job_revision_is_never_changed;
create trigger job_revision_is_never_changed before update of job_number, revision, patient_id, payer_id, recipient_id,
    frame_id, prescription_id, lens_use, material_version_id, design, promised_on, at on job_revision begin
    select raise(abort, 'job_revision is never changed');
end;
create trigger job_revision_is_only_erased before update of note, reason on job_revision
when new.note is not '' or new.reason is not ''
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'job_revision is never changed');
end;
drop trigger job_eye_is_never_changed;
create trigger job_eye_is_never_changed before update of job_number, revision, eye, task on job_eye begin
    select raise(abort, 'job_eye is never changed');
end;
create trigger job_eye_is_only_erased before update of height_hundredths, height_from on job_eye
when new.height_hundredths is not null or new.height_from is not 'middle'
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'job_eye is never changed');
end;
drop trigger job_event_is_never_changed;
create trigger job_event_is_never_changed before update of seq, job_number, kind, by, at on job_event begin
    select raise(abort, 'job_event is never changed');
end;
create trigger job_event_is_only_erased before update of note on job_event
when new.note is not '' or old.kind = 'erased'
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'job_event is never changed');
end;
drop trigger attachment_is_never_changed;
create trigger attachment_is_never_changed before update of id, kind, job_number, added_at on attachment begin
    select raise(abort, 'attachment is never changed');
end;
create trigger attachment_is_only_erased before update of name, note, hash, format on attachment
when new.name is not 'erased' or new.note is not ''
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'attachment is never changed');
end;
drop trigger shipment_is_never_changed;
create trigger shipment_is_never_changed before update of seq, job_number, carrier, sent_on, at on shipment begin
    select raise(abort, 'shipment is never changed');
end;
create trigger shipment_is_only_erased before update of tracking, address on shipment
when new.tracking is not '' or new.address is not ''
    or not exists (select 1 from erasable_address where job_number = old.job_number) begin
    select raise(abort, 'shipment is never changed');
end;
drop trigger delay_notice_is_never_changed;
create trigger delay_notice_is_never_changed before update of seq, job_number, is_renewed, promised_on, revised_on, sent_on,
    answer_by, silence, cause, way, at on delay_notice begin
    select raise(abort, 'delay_notice is never changed');
end;
create trigger delay_notice_is_only_erased before update of address, body on delay_notice
when new.address is not '' or new.body is not 'erased'
    or not exists (select 1 from erasable_address where job_number = old.job_number) begin
    select raise(abort, 'delay_notice is never changed');
end;
drop trigger cancellation_is_never_changed;
create trigger cancellation_is_never_changed before update of job_number, asked_by, event_seq, at on cancellation begin
    select raise(abort, 'cancellation is never changed');
end;
create trigger cancellation_is_only_erased before update of reason on cancellation
when new.reason is not 'erased'
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'cancellation is never changed');
end;
drop trigger remake_is_never_changed;
create trigger remake_is_never_changed before update of job_number, cause, paid_by, frame_stays, at on remake begin
    select raise(abort, 'remake is never changed');
end;
create trigger remake_is_only_erased before update of lesson on remake
when new.lesson is not ''
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'remake is never changed');
end;
drop trigger spoiled_lens_is_never_changed;
create trigger spoiled_lens_is_never_changed before update of lens_seq, job_number, cause, at on spoiled_lens begin
    select raise(abort, 'spoiled_lens is never changed');
end;
create trigger spoiled_lens_is_only_erased before update of note on spoiled_lens
when new.note is not ''
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'spoiled_lens is never changed');
end;
drop trigger parcel_return_is_never_changed;
create trigger parcel_return_is_never_changed before update of shipment_seq, job_number, cause, condition, returned_on,
    event_seq, at on parcel_return begin
    select raise(abort, 'parcel_return is never changed');
end;
create trigger parcel_return_is_only_erased before update of note on parcel_return
when new.note is not ''
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'parcel_return is never changed');
end;
drop trigger own_frame_arrival_is_never_changed;
create trigger own_frame_arrival_is_never_changed before update of seq, job_number, received_on, at on own_frame_arrival begin
    select raise(abort, 'own_frame_arrival is never changed');
end;
create trigger own_frame_arrival_is_only_erased before update of condition on own_frame_arrival
when new.condition is not 'erased'
    or not exists (select 1 from erasable_job where number = old.job_number) begin
    select raise(abort, 'own_frame_arrival is never changed');
end;
drop trigger prescription_is_never_changed;
create trigger prescription_is_never_changed before update of id, patient_id, added_at on prescription begin
    select raise(abort, 'prescription is never changed');
end;
create trigger prescription_is_only_erased before update of prescriber, prescriber_npi, written_on, expires_on, diagnosis,
    pd_given, near_pd_given on prescription
when new.prescriber is not '' or new.prescriber_npi is not '' or new.written_on is not null
    or new.expires_on is not null or new.diagnosis is not '' or new.pd_given is not null
    or new.near_pd_given is not null
    or not exists (select 1 from erasable_prescription where id = old.id) begin
    select raise(abort, 'prescription is never changed');
end;
drop trigger prescription_eye_is_never_changed;
create trigger prescription_eye_is_never_changed before update of prescription_id, eye on prescription_eye begin
    select raise(abort, 'prescription_eye is never changed');
end;
create trigger prescription_eye_is_only_erased before update of typed, sphere_hundredths, cylinder_hundredths, axis_deg,
    prism_in_hundredths, prism_up_hundredths, pd_hundredths, near_pd_hundredths on prescription_eye
when new.typed is not '' or new.sphere_hundredths is not null or new.cylinder_hundredths is not null
    or new.axis_deg is not null or new.prism_in_hundredths is not 0 or new.prism_up_hundredths is not 0
    or new.pd_hundredths is not null or new.near_pd_hundredths is not null
    or not exists (select 1 from erasable_prescription where id = old.prescription_id) begin
    select raise(abort, 'prescription_eye is never changed');
end;

-- The bytes of a file go when nothing names them any more.
drop trigger attachment_bytes_is_never_removed;
create trigger attachment_bytes_is_never_removed before delete on attachment_bytes
when exists (select 1 from attachment where hash = old.hash) or not exists (select 1 from erasing) begin
    select raise(abort, 'attachment_bytes is never removed');
end;
