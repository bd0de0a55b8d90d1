-- An order is corrected or cancelled, and a parcel comes back or is lost.
insert into stage (key, position) values ('cancelled', 8);
insert into event_kind (key, effect, meaning) values
    ('corrected', '', 'the order was corrected'),
    ('aside_right', '', 'the right lens is no longer in hand for the job: it went back into the drawer'),
    ('aside_left', '', 'the left lens is no longer in hand for the job: it went back into the drawer'),
    ('cancelled', 'closes', 'the order was cancelled'),
    ('returned_unopened', 'reopens', 'the parcel came back as it left'),
    ('returned_opened', 'reopens', 'the parcel came back opened, or the pair was worn'),
    ('parcel_lost', 'reopens', 'the parcel is lost');

-- Who asked that an order be cancelled.
create table cancel_asker (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into cancel_asker (key, meaning) values
    ('customer', 'the customer'), ('delay', 'the customer, because of a delay, or no answer to a delay notice'),
    ('prescriber', 'the prescriber'), ('shop', 'the lab');

-- A job has one at most. The money is in `charge` and `payment`.
create table cancellation (
    job_number integer primary key references job (number),
    asked_by text not null references cancel_asker (key),
    reason text not null constraint cancellation_reason check (length(reason) between 1 and 300),
    event_seq integer not null references job_event (seq), -- its place in the history
    at text not null constraint cancellation_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create trigger cancellation_is_never_changed before update on cancellation begin
    select raise(abort, 'cancellation is never changed');
end;
create trigger cancellation_is_never_removed before delete on cancellation begin
    select raise(abort, 'cancellation is never removed');
end;

-- Why a parcel did not stay with its customer.
create table return_cause (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into return_cause (key, meaning) values
    ('undeliverable', 'it could not be delivered'), ('refused', 'it was not accepted'),
    ('put_right', 'the customer sent it back to be put right'), ('lost', 'it is lost');

-- How the parcel was when it came back.
create table return_condition (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into return_condition (key, meaning) values
    ('unopened', 'closed, as it left'), ('opened', 'opened, or the pair was worn'), ('lost', 'there is nothing to look at');

-- A parcel that came back or is lost. Each parcel does so once.
create table parcel_return (
    shipment_seq integer primary key references shipment (seq),
    job_number integer not null references job (number),
    cause text not null references return_cause (key),
    condition text not null references return_condition (key),
    returned_on text not null,                  -- the day it came back, or the day it was given up
    note text not null default '',
    event_seq integer not null references job_event (seq),
    at text not null constraint parcel_return_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index parcel_return_by_job on parcel_return (job_number);
create trigger parcel_return_is_never_changed before update on parcel_return begin
    select raise(abort, 'parcel_return is never changed');
end;
create trigger parcel_return_is_never_removed before delete on parcel_return begin
    select raise(abort, 'parcel_return is never removed');
end;

-- After a correction of the power or of the lens, an earlier decision counts no more.
insert into power_choice (key, meaning) values
    ('withdrawn', 'the order was corrected, so the decision before it counts no more');

-- What a frame's row said before each correction of it.
create table frame_past (
    seq integer primary key autoincrement,
    frame_id blob not null references frame (id),
    maker text not null, model text not null, colour text not null, eye_size_hundredths integer not null,
    bridge_hundredths integer not null, temple_hundredths integer, rim text not null, price_cents integer not null,
    replaced_at text not null constraint frame_past_replaced_at check (replaced_at like '____-__-__T__:__:__.___Z')
) strict;
create index frame_past_by_frame on frame_past (frame_id, seq);
create trigger frame_past_is_never_changed before update on frame_past begin
    select raise(abort, 'frame_past is never changed');
end;
create trigger frame_past_is_never_removed before delete on frame_past begin
    select raise(abort, 'frame_past is never removed');
end;
alter table frame add column changed_at text not null default '2026-01-01T00:00:00.000Z'
    constraint frame_changed_at check (changed_at like '____-__-__T__:__:__.___Z');
update frame set changed_at = added_at;
create trigger frame_keeps_its_past before update on frame begin
    insert into frame_past (frame_id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                            price_cents, replaced_at)
    values (old.id, old.maker, old.model, old.colour, old.eye_size_hundredths, old.bridge_hundredths,
            old.temple_hundredths, old.rim, old.price_cents, new.changed_at);
end;
create trigger frame_is_never_removed before delete on frame begin select raise(abort, 'frame is never removed'); end;
