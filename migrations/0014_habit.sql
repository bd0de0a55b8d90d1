-- How exactly the lab works, for the chance that a pair will pass: one row, made when the owner first changes a default.
-- Spreads are standard deviations (two of three stay within), steps are whole steps; all in hundredths of their unit.
create table habit (
    id integer primary key check (id = 1),
    blank_power_hundredths integer not null constraint habit_blank_power check (blank_power_hundredths between 0 and 100),
    blank_cylinder_hundredths integer not null constraint habit_blank_cylinder check (blank_cylinder_hundredths between 0 and 100),
    blank_prism_hundredths integer not null constraint habit_blank_prism check (blank_prism_hundredths between 0 and 100),
    lensmeter_step_hundredths integer not null constraint habit_lensmeter_step check (lensmeter_step_hundredths between 0 and 100),
    prism_step_hundredths integer not null constraint habit_prism_step check (prism_step_hundredths between 0 and 200),
    axis_marking_hundredths integer not null constraint habit_axis_marking check (axis_marking_hundredths between 0 and 1000),
    axis_blocking_hundredths integer not null constraint habit_axis_blocking check (axis_blocking_hundredths between 0 and 1000),
    edging_turn_hundredths integer not null constraint habit_edging_turn check (edging_turn_hundredths between 0 and 1000),
    axis_step_hundredths integer not null constraint habit_axis_step check (axis_step_hundredths between 0 and 1000),
    centre_marking_hundredths integer not null constraint habit_centre_marking check (centre_marking_hundredths between 0 and 300),
    blocking_hundredths integer not null constraint habit_blocking check (blocking_hundredths between 0 and 300),
    stick_step_hundredths integer not null constraint habit_stick_step check (stick_step_hundredths between 0 and 200),
    -- whether the lens is nudged by what the blocker's step leaves
    nudges integer not null constraint habit_nudges check (nudges in (0, 1)),
    -- the wrap of a frame from which the power as worn is offered, in hundredths of a degree
    offer_wrap_hundredths integer not null constraint habit_offer_wrap check (offer_wrap_hundredths between 0 and 4000),
    changed_at text not null
) strict;

-- What it said before each change.
create table habit_past (
    seq integer primary key autoincrement,
    blank_power_hundredths integer not null, blank_cylinder_hundredths integer not null, blank_prism_hundredths integer not null, lensmeter_step_hundredths integer not null, prism_step_hundredths integer not null, axis_marking_hundredths integer not null, axis_blocking_hundredths integer not null, edging_turn_hundredths integer not null, axis_step_hundredths integer not null, centre_marking_hundredths integer not null, blocking_hundredths integer not null, stick_step_hundredths integer not null,
    nudges integer not null, offer_wrap_hundredths integer not null,
    changed_at text not null
) strict;

create trigger habit_keeps_its_past before update on habit begin
    insert into habit_past (blank_power_hundredths, blank_cylinder_hundredths, blank_prism_hundredths, lensmeter_step_hundredths, prism_step_hundredths, axis_marking_hundredths, axis_blocking_hundredths, edging_turn_hundredths, axis_step_hundredths, centre_marking_hundredths, blocking_hundredths, stick_step_hundredths, nudges, offer_wrap_hundredths, changed_at)
    values (old.blank_power_hundredths, old.blank_cylinder_hundredths, old.blank_prism_hundredths, old.lensmeter_step_hundredths, old.prism_step_hundredths, old.axis_marking_hundredths, old.axis_blocking_hundredths, old.edging_turn_hundredths, old.axis_step_hundredths, old.centre_marking_hundredths, old.blocking_hundredths, old.stick_step_hundredths, old.nudges, old.offer_wrap_hundredths, old.changed_at);
end;
