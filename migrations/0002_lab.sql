-- The lab itself: one row, made at the first run. What prints at the head of every paper, and how the lab works.
create table lab (
    id integer primary key check (id = 1),
    name text not null constraint lab_name check (length(name) between 1 and 200),
    address text not null,                      -- as printed, lines separated by \n
    phone text not null default '',
    email text not null default '',
    tax_id text not null default '',            -- EIN, or whatever the customer's plan asks for
    blocker_step_hundredths integer not null constraint lab_blocker_step check (blocker_step_hundredths in (10, 50, 100)),
    blank_margin_hundredths integer not null constraint lab_blank_margin check (blank_margin_hundredths between 0 and 1000),
    tolerance_profile text not null references tolerance_profile (key),
    code_basis text not null references code_basis (key),
    lead_days integer not null constraint lab_lead_days check (lead_days between 1 and 120),
    shipping_cents integer not null constraint lab_shipping check (shipping_cents between 0 and 1000000),
    changed_at text not null constraint lab_changed_at check (changed_at like '____-__-__T__:__:__.___Z')
) strict;

-- What the row said before each change. Corrections add; they do not erase.
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
create trigger lab_past_is_never_changed before update on lab_past begin select raise(abort, 'lab_past is never changed'); end;
create trigger lab_past_is_never_removed before delete on lab_past begin select raise(abort, 'lab_past is never removed'); end;

-- How exactly the lab works, for the chance that a pair will pass: one row, made when the owner first changes a default.
-- Spreads are standard deviations (two of three stay within), steps are whole steps; all in hundredths of their unit.
create table process_spread (
    id integer primary key check (id = 1),
    blank_power_hundredths integer not null constraint process_spread_blank_power check (blank_power_hundredths between 0 and 100),
    blank_cylinder_hundredths integer not null constraint process_spread_blank_cylinder check (blank_cylinder_hundredths between 0 and 100),
    blank_prism_hundredths integer not null constraint process_spread_blank_prism check (blank_prism_hundredths between 0 and 100),
    lensmeter_step_hundredths integer not null constraint process_spread_lensmeter_step check (lensmeter_step_hundredths between 0 and 100),
    prism_step_hundredths integer not null constraint process_spread_prism_step check (prism_step_hundredths between 0 and 200),
    axis_marking_hundredths integer not null constraint process_spread_axis_marking check (axis_marking_hundredths between 0 and 1000),
    axis_blocking_hundredths integer not null constraint process_spread_axis_blocking check (axis_blocking_hundredths between 0 and 1000),
    edging_turn_hundredths integer not null constraint process_spread_edging_turn check (edging_turn_hundredths between 0 and 1000),
    axis_step_hundredths integer not null constraint process_spread_axis_step check (axis_step_hundredths between 0 and 1000),
    centre_marking_hundredths integer not null constraint process_spread_centre_marking check (centre_marking_hundredths between 0 and 300),
    blocking_hundredths integer not null constraint process_spread_blocking check (blocking_hundredths between 0 and 300),
    stick_step_hundredths integer not null constraint process_spread_stick_step check (stick_step_hundredths between 0 and 200),
    -- whether the lens is nudged by what the blocker's step leaves
    nudges integer not null constraint process_spread_nudges check (nudges in (0, 1)),
    -- the wrap of a frame from which the compensated power is offered, in hundredths of a degree
    offer_wrap_hundredths integer not null constraint process_spread_offer_wrap check (offer_wrap_hundredths between 0 and 4000),
    changed_at text not null constraint process_spread_changed_at check (changed_at like '____-__-__T__:__:__.___Z')
) strict;

-- What the row said before each change.
create table process_spread_past (
    seq integer primary key autoincrement,
    blank_power_hundredths integer not null, blank_cylinder_hundredths integer not null,
    blank_prism_hundredths integer not null, lensmeter_step_hundredths integer not null,
    prism_step_hundredths integer not null, axis_marking_hundredths integer not null,
    axis_blocking_hundredths integer not null, edging_turn_hundredths integer not null,
    axis_step_hundredths integer not null, centre_marking_hundredths integer not null,
    blocking_hundredths integer not null, stick_step_hundredths integer not null,
    nudges integer not null, offer_wrap_hundredths integer not null, changed_at text not null
) strict;

create trigger process_spread_keeps_its_past before update on process_spread begin
    insert into process_spread_past (blank_power_hundredths, blank_cylinder_hundredths, blank_prism_hundredths,
        lensmeter_step_hundredths, prism_step_hundredths, axis_marking_hundredths, axis_blocking_hundredths,
        edging_turn_hundredths, axis_step_hundredths, centre_marking_hundredths, blocking_hundredths,
        stick_step_hundredths, nudges, offer_wrap_hundredths, changed_at)
    values (old.blank_power_hundredths, old.blank_cylinder_hundredths, old.blank_prism_hundredths,
        old.lensmeter_step_hundredths, old.prism_step_hundredths, old.axis_marking_hundredths,
        old.axis_blocking_hundredths, old.edging_turn_hundredths, old.axis_step_hundredths,
        old.centre_marking_hundredths, old.blocking_hundredths, old.stick_step_hundredths, old.nudges,
        old.offer_wrap_hundredths, old.changed_at);
end;
create trigger process_spread_past_is_never_changed before update on process_spread_past begin
    select raise(abort, 'process_spread_past is never changed');
end;
create trigger process_spread_past_is_never_removed before delete on process_spread_past begin
    select raise(abort, 'process_spread_past is never removed');
end;
