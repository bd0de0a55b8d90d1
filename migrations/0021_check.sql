-- What a check holds besides the standard's rows, why a pair that failed is sent, and lenses that were spoiled.
insert into quantity (key, unit, meaning) values
    ('centre_across', 'mm', 'distance of an optical centre from the middle of the nose, against the ordered one'),
    ('centre_height', 'mm', 'height of an optical centre above the lowest point of the box, against the ordered one');

-- The lab's own limits on the places of the centres; null switches the row off.
alter table lab add column centre_across_hundredths integer default 100
    constraint lab_centre_across check (centre_across_hundredths between 10 and 1000);
alter table lab add column centre_height_hundredths integer default 100
    constraint lab_centre_height check (centre_height_hundredths between 10 and 1000);
-- The diameters of uncut lenses that can be bought, millimeters, between blanks.
alter table lab add column stock_diameters text not null default '55 60 65 70 75 80'
    constraint lab_stock_diameters check (length(stock_diameters) between 1 and 200);
alter table lab_past add column stock_diameters text;
alter table lab_past add column centre_across_hundredths integer;
alter table lab_past add column centre_height_hundredths integer;
drop trigger lab_keeps_its_past;
create trigger lab_keeps_its_past before update on lab begin
    insert into lab_past (name, address, phone, email, tax_id, blocker_step_hundredths, blank_margin_hundredths,
                          tolerance_profile, code_basis, lead_days, shipping_cents, centre_across_hundredths,
                          centre_height_hundredths, stock_diameters, changed_at)
    values (old.name, old.address, old.phone, old.email, old.tax_id, old.blocker_step_hundredths,
            old.blank_margin_hundredths, old.tolerance_profile, old.code_basis, old.lead_days, old.shipping_cents,
            old.centre_across_hundredths, old.centre_height_hundredths, old.stock_diameters, old.changed_at);
end;

-- Why a pair that did not pass is sent all the same.
create table concession_cause (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into concession_cause (key, meaning) values
    ('customer_asked', 'the customer was asked and takes it'),
    ('prescriber_asked', 'the prescriber was asked and accepts it'),
    ('reading', 'it is as near the limit as the lensmeter reads'),
    ('until_remade', 'it serves until the remake comes');
alter table concession add column cause text references concession_cause (key); -- null before this version
drop trigger concession_is_never_changed;
create trigger concession_is_never_changed before update on concession
when old.is_open = 0 or new.is_open <> 0 or new.verification_id <> old.verification_id or new.job_number <> old.job_number
    or new.reason <> old.reason or new.cause is not old.cause or new.at <> old.at begin
    select raise(abort, 'concession is never changed');
end;

-- Where a pair went wrong.
create table fault_cause (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into fault_cause (key, meaning) values
    ('order', 'taken down wrong'), ('prescription', 'the prescription was wrong or unsuitable'),
    ('lens', 'the uncut lens was wrong or faulty'), ('layout', 'marked, laid out or blocked wrong'),
    ('cut', 'edged wrong: size, shape, axis, bevel or a chip'), ('coating', 'the coating or tint'),
    ('mount', 'broken or scratched in mounting'), ('handling', 'dropped or scratched'),
    ('post', 'lost or broken in the post'), ('mind', 'the customer''s mind changed');

insert into event_kind (key, effect, meaning) values
    ('spoiled_right', '', 'the right lens was spoiled'),
    ('spoiled_left', '', 'the left lens was spoiled');

-- A lens that was in hand for a job and is no more. The job needs another.
create table spoiled_lens (
    lens_seq integer primary key references lens_in_hand (seq),
    job_number integer not null references job (number),
    cause text not null references fault_cause (key),
    note text not null default '',
    at text not null constraint spoiled_lens_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index spoiled_lens_by_job on spoiled_lens (job_number);
create index spoiled_lens_by_cause on spoiled_lens (cause, at);
create trigger spoiled_lens_is_never_changed before update on spoiled_lens begin
    select raise(abort, 'spoiled_lens is never changed');
end;
create trigger spoiled_lens_is_never_removed before delete on spoiled_lens begin
    select raise(abort, 'spoiled_lens is never removed');
end;
