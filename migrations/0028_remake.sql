-- An earlier job made again: why, who pays, and what was learned.
create table remake_payer (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into remake_payer (key, meaning) values
    ('shop', 'we pay'), ('customer', 'the customer pays'), ('supplier', 'the supplier of the lens pays'),
    ('carrier', 'the carrier of the parcel pays');

insert into event_kind (key, effect, meaning) values ('remade', '', 'a remake of the job was ordered');

-- The new job is the key; the earlier one is its parent in `job`.
create table remake (
    job_number integer primary key references job (number),
    cause text not null references fault_cause (key),
    paid_by text not null references remake_payer (key),
    -- 1: the frame stays with the customer, and lenses alone are sent
    frame_stays integer not null constraint remake_frame_stays check (frame_stays in (0, 1)),
    lesson text not null default '',            -- what to do better next time
    at text not null constraint remake_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index remake_by_cause on remake (cause, at);
create trigger remake_is_never_changed before update on remake begin select raise(abort, 'remake is never changed'); end;
create trigger remake_is_never_removed before delete on remake begin select raise(abort, 'remake is never removed'); end;

-- How many parcels left in a month.
create index shipment_by_day on shipment (sent_on, job_number);
