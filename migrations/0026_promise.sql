-- The people of a job, and its promise: the days the lab is closed, delay notices of the mail-order rule (16 CFR Part 435),
-- what the customer answers, and money that is due back for an order that was not sent.
insert into event_kind (key, effect, meaning) values
    ('people_changed', '', 'who pays for the job, or who gets the parcel, was corrected'),
    ('promise_moved', '', 'the customer agreed to another day'),
    ('delay_notice', '', 'a notice that the promise cannot be kept was sent'),
    ('delay_silent', '', 'the last day to answer a delay notice passed without an answer, which is consent'),
    ('delay_cancelled', '', 'the customer cancelled because of a delay, or silence did');

-- Weekly closed days by their first three letters, and a line for each other time: days and a name. A book from before this
-- version counted every day, so it starts with none.
alter table lab add column closed_weekdays text not null default ''
    constraint lab_closed_weekdays check (length(closed_weekdays) <= 27);
alter table lab add column closed_periods text not null default ''
    constraint lab_closed_periods check (length(closed_periods) <= 10000);
alter table lab_past add column closed_weekdays text;
alter table lab_past add column closed_periods text;
drop trigger lab_keeps_its_past;
create trigger lab_keeps_its_past before update on lab begin
    insert into lab_past (name, address, phone, email, tax_id, blocker_step_hundredths, blank_margin_hundredths,
                          tolerance_profile, code_basis, lead_days, shipping_cents, centre_across_hundredths,
                          centre_height_hundredths, stock_diameters, closed_weekdays, closed_periods, changed_at)
    values (old.name, old.address, old.phone, old.email, old.tax_id, old.blocker_step_hundredths,
            old.blank_margin_hundredths, old.tolerance_profile, old.code_basis, old.lead_days, old.shipping_cents,
            old.centre_across_hundredths, old.centre_height_hundredths, old.stock_diameters, old.closed_weekdays,
            old.closed_periods, old.changed_at);
end;

create table contact_way (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into contact_way (key, meaning) values
    ('letter', 'a letter'), ('email', 'an e-mail'), ('message', 'a text message'), ('telephone', 'a call'),
    ('in_person', 'at the counter');

create table delay_silence (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into delay_silence (key, meaning) values
    ('consents', 'no answer is consent to the revised day'), ('cancels', 'no answer cancels the order');

create table promise_answer_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into promise_answer_kind (key, meaning) values
    ('consents', 'the customer agrees to the delay'), ('cancels', 'the customer cancels the order'),
    ('silent', 'the last day passed without an answer');

-- A notice that a promised day cannot be kept, with its terms as they were when it was sent.
create table delay_notice (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    -- 435.2(b)(2), a renewed option, or (b)(1), the first
    is_renewed integer not null constraint delay_notice_is_renewed check (is_renewed in (0, 1)),
    promised_on text not null,                  -- the day that cannot be kept
    revised_on text constraint delay_notice_revised_on check (revised_on > promised_on), -- null where none can be given
    sent_on text not null,
    answer_by text not null,                    -- the last day on which an answer counts
    silence text not null references delay_silence (key),
    cause text not null default '',
    way text not null references contact_way (key),
    address text not null,                      -- the buyer's, as it prints
    body text not null,                         -- as it was sent, paragraphs separated by \n
    at text not null constraint delay_notice_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index delay_notice_by_job on delay_notice (job_number, seq);
create trigger delay_notice_is_never_changed before update on delay_notice begin
    select raise(abort, 'delay_notice is never changed');
end;
create trigger delay_notice_is_never_removed before delete on delay_notice begin
    select raise(abort, 'delay_notice is never removed');
end;

-- What a customer said about a promise, to a notice or without one.
create table promise_answer (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    notice_seq integer references delay_notice (seq), -- the newest notice before it
    kind text not null references promise_answer_kind (key),
    revised_on text,                            -- the day agreed on; null without one
    way text references contact_way (key),      -- null for silence
    answered_on text not null,
    said text not null default '',
    at text not null constraint promise_answer_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index promise_answer_by_job on promise_answer (job_number, seq);
create trigger promise_answer_is_never_changed before update on promise_answer begin
    select raise(abort, 'promise_answer is never changed');
end;
create trigger promise_answer_is_never_removed before delete on promise_answer begin
    select raise(abort, 'promise_answer is never removed');
end;

-- Money that is due back because an order that was not sent is cancelled.
create table refund_owed (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    cause text not null,
    vests_on text not null,                     -- the day the right to it began
    due_on text not null,
    amount_cents integer not null constraint refund_owed_amount check (amount_cents > 0),
    at text not null constraint refund_owed_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index refund_owed_by_job on refund_owed (job_number, seq);
create trigger refund_owed_is_never_changed before update on refund_owed begin
    select raise(abort, 'refund_owed is never changed');
end;
create trigger refund_owed_is_never_removed before delete on refund_owed begin
    select raise(abort, 'refund_owed is never removed');
end;

-- The day by which money is due back, while the lab still has some of it and the order is not on again. It repeats what
-- refund_owed, payment and promise_answer say, so that a list can use an index.
alter table job add column refund_due_on text;
create index job_refund_due on job (refund_due_on, number) where refund_due_on is not null;
create trigger refund_owed_is_on_its_job after insert on refund_owed
when (select coalesce(sum(amount_cents), 0) from payment where job_number = new.job_number) > 0 begin
    update job set refund_due_on = new.due_on where number = new.job_number;
end;
create trigger payment_settles_a_refund after insert on payment
when (select refund_due_on from job where number = new.job_number) is not null
    and (select coalesce(sum(amount_cents), 0) from payment where job_number = new.job_number) <= 0 begin
    update job set refund_due_on = null where number = new.job_number;
end;
create trigger consent_ends_a_refund after insert on promise_answer when new.kind = 'consents' begin
    update job set refund_due_on = null where number = new.job_number and refund_due_on is not null;
end;

create view delay_notice_json as
select job_number, seq,
       json_object('seq', seq, 'is_renewed', json(iif(is_renewed = 1, 'true', 'false')), 'promised_on', promised_on,
                   'revised_on', revised_on, 'sent_on', sent_on, 'answer_by', answer_by, 'silence', silence,
                   'cause', cause, 'way', way) as body
from delay_notice;

create view promise_answer_json as
select job_number, seq,
       json_object('notice_seq', notice_seq, 'kind', kind, 'revised_on', revised_on, 'way', way,
                   'answered_on', answered_on, 'said', said) as body
from promise_answer;
