-- What the lab's edging wheel cuts: a corner of a smaller radius is warned of, and a hollow that is tighter than the wheel. The
-- defaults were fixed figures before (common practice).
alter table lab add column tight_corner_hundredths integer not null default 100
    constraint lab_tight_corner check (tight_corner_hundredths between 0 and 2000);
alter table lab add column wheel_radius_hundredths integer not null default 5000
    constraint lab_wheel_radius check (wheel_radius_hundredths between 500 and 20000);
alter table lab_past add column tight_corner_hundredths integer;
alter table lab_past add column wheel_radius_hundredths integer;
drop trigger lab_keeps_its_past;
create trigger lab_keeps_its_past before update on lab begin
    insert into lab_past (name, address, phone, email, tax_id, blocker_step_hundredths, blank_margin_hundredths,
                          tolerance_profile, code_basis, lead_days, shipping_cents, centre_across_hundredths,
                          centre_height_hundredths, stock_diameters, closed_weekdays, closed_periods, tight_corner_hundredths,
                          wheel_radius_hundredths, changed_at)
    values (old.name, old.address, old.phone, old.email, old.tax_id, old.blocker_step_hundredths,
            old.blank_margin_hundredths, old.tolerance_profile, old.code_basis, old.lead_days, old.shipping_cents,
            old.centre_across_hundredths, old.centre_height_hundredths, old.stock_diameters, old.closed_weekdays,
            old.closed_periods, old.tight_corner_hundredths, old.wheel_radius_hundredths, old.changed_at);
end;
