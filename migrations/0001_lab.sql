-- The lab itself: one row, made at the first run. What prints at the head of every paper.
create table lab (
    id integer primary key check (id = 1),
    name text not null constraint lab_name check (length(name) between 1 and 200),
    address text not null,                      -- as printed, lines parted by \n
    phone text not null default '',
    email text not null default '',
    tax_id text not null default '',            -- EIN, or whatever the customer's plan asks for
    blocker_step_hundredths integer not null constraint lab_blocker_step check (blocker_step_hundredths in (10, 50, 100)),
    blank_margin_hundredths integer not null constraint lab_blank_margin check (blank_margin_hundredths between 0 and 1000),
    tolerance_profile text not null constraint lab_tolerance_profile check (tolerance_profile in ('z80_1', 'iso_21987')),
    -- which form of the prescription the procedure codes are taken from
    code_basis text not null constraint lab_code_basis check (code_basis in ('as_written', 'minus', 'plus')),
    lead_days integer not null constraint lab_lead_days check (lead_days between 1 and 120),
    shipping_cents integer not null constraint lab_shipping check (shipping_cents between 0 and 1000000),
    changed_at text not null                    -- RFC 3339, UTC, as every *_at column
) strict;

-- What the lab said of itself before each change. Corrections add; they do not erase.
create table lab_past (
    seq integer primary key autoincrement,
    name text not null, address text not null, phone text not null, email text not null, tax_id text not null,
    blocker_step_hundredths integer not null, blank_margin_hundredths integer not null,
    tolerance_profile text not null, code_basis text not null, lead_days integer not null, shipping_cents integer not null,
    changed_at text not null
) strict;

create trigger lab_keeps_its_past before update on lab begin
    insert into lab_past (name, address, phone, email, tax_id, blocker_step_hundredths, blank_margin_hundredths,
                          tolerance_profile, code_basis, lead_days, shipping_cents, changed_at)
    values (old.name, old.address, old.phone, old.email, old.tax_id, old.blocker_step_hundredths,
            old.blank_margin_hundredths, old.tolerance_profile, old.code_basis, old.lead_days, old.shipping_cents, old.changed_at);
end;
