-- The packing list was gone through; the newest row of a job counts.
create table packing (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    at text not null constraint packing_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index packing_by_job on packing (job_number, seq);
create trigger packing_is_never_changed before update on packing begin select raise(abort, 'packing is never changed'); end;
create trigger packing_is_never_removed before delete on packing begin select raise(abort, 'packing is never removed'); end;

-- The sentences that were ticked, as they stood then.
create table packing_tick (
    packing_seq integer not null references packing (seq),
    position integer not null,
    says text not null,
    primary key (packing_seq, position)
) strict, without rowid;
create trigger packing_tick_is_never_changed before update on packing_tick begin
    select raise(abort, 'packing_tick is never changed');
end;
create trigger packing_tick_is_never_removed before delete on packing_tick begin
    select raise(abort, 'packing_tick is never removed');
end;

-- A parcel that left. A parcel that goes a second time is another row of the same job.
create table shipment (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    carrier text not null constraint shipment_carrier check (length(carrier) between 1 and 80),
    tracking text not null default '',
    sent_on text not null,
    address text not null,                      -- where it went, as printed on the slip
    at text not null constraint shipment_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index shipment_by_job on shipment (job_number, seq);
create trigger shipment_is_never_changed before update on shipment begin select raise(abort, 'shipment is never changed'); end;
create trigger shipment_is_never_removed before delete on shipment begin select raise(abort, 'shipment is never removed'); end;

-- The carriers of earlier parcels, for the form.
create table carrier (
    name text primary key,
    last_used_at text not null constraint carrier_last_used_at check (last_used_at like '____-__-__T__:__:__.___Z')
) strict, without rowid;
create index carrier_by_use on carrier (last_used_at);
create trigger shipment_names_its_carrier after insert on shipment begin
    insert into carrier (name, last_used_at) values (new.carrier, new.at)
    on conflict (name) do update set last_used_at = max(last_used_at, excluded.last_used_at);
end;
