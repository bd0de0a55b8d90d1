-- The last of the shop's week: the thickness row of a check, another day for an order to a supplier, a supplier with
-- another name, and an uncut lens with two coatings.

insert into quantity (key, unit, meaning) values
    ('least_center_thickness', 'mm', 'thickness of a lens at its optical center, against the least of its material');

-- The day an order is expected after its supplier named another one. The newest row of an order counts; the first day
-- stays in `purchase`.
create table purchase_expectation (
    seq integer primary key autoincrement,
    purchase_number integer not null references purchase (number),
    expected_on text not null,
    reason text not null default '',            -- what the supplier said
    at text not null constraint purchase_expectation_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index purchase_expectation_by_purchase on purchase_expectation (purchase_number, seq);
create trigger purchase_expectation_is_never_changed before update on purchase_expectation begin
    select raise(abort, 'purchase_expectation is never changed');
end;
create trigger purchase_expectation_is_never_removed before delete on purchase_expectation begin
    select raise(abort, 'purchase_expectation is never removed');
end;

-- A supplier can take another name; the earlier ones stay.
create table supplier_past (
    seq integer primary key autoincrement,
    supplier_id blob not null references supplier (id),
    name text not null,
    until text not null constraint supplier_past_at check (until like '____-__-__T__:__:__.___Z')
) strict;
create index supplier_past_by_supplier on supplier_past (supplier_id, seq);
create trigger supplier_past_is_never_changed before update on supplier_past begin
    select raise(abort, 'supplier_past is never changed');
end;
create trigger supplier_past_is_never_removed before delete on supplier_past begin
    select raise(abort, 'supplier_past is never removed');
end;
alter table supplier add column renamed_at text constraint supplier_renamed_at check (renamed_at like '____-__-__T__:__:__.___Z');
drop trigger supplier_is_never_changed;
create trigger supplier_keeps_its_past before update on supplier begin
    insert into supplier_past (supplier_id, name, until) values (old.id, old.name, new.renamed_at);
end;

-- A lens with two coatings: the same kind whichever of them is named first, so the store writes them in one order.
alter table drawer_lens add column second_coating_id blob references treatment (id);
drop index drawer_lens_once;
create unique index drawer_lens_once on drawer_lens (material_id, sphere_hundredths, cylinder_hundredths, diameter_hundredths,
    coalesce(centre_hundredths, -1), coalesce(front_power_hundredths, -1), coalesce(base_hundredths, -1),
    coalesce(coating_id, x''), coalesce(second_coating_id, x''), coalesce(tint_id, x''));
alter table purchase_line add column second_coating_id blob references treatment (id);
drop trigger purchase_line_is_never_changed;
create trigger purchase_line_is_never_changed before update of seq, purchase_number, job_number, eye, drawer_lens_id, material_id,
    coating_id, second_coating_id, tint_id, treatments, sphere_hundredths, cylinder_hundredths, diameter_hundredths,
    base_hundredths, remark, count, price_cents on purchase_line begin
    select raise(abort, 'purchase_line is never changed');
end;
