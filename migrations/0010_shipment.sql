create table packing (
    job_number integer primary key references job (number),
    ticks text not null constraint packing_ticks check (json_valid(ticks)),  -- the sentences that were ticked
    added_at text not null
) strict;

create table shipment (
    job_number integer primary key references job (number),
    carrier text not null constraint shipment_carrier check (length(carrier) between 1 and 80),
    tracking text not null default '',
    sent_on text not null,
    address text not null,                      -- where it went, as printed on the slip
    added_at text not null
) strict;
