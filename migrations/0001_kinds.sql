-- Kinds that will grow are rows, so that a new kind is a new row in a later migration, not a rebuilt table.
-- `key` stands in other tables and in forms and never changes its meaning. The words for a person are in the program;
-- `meaning` is for whoever reads the file with another tool.

-- What can happen to a job. `effect` says what an event does to the job's place among the open ones.
create table event_kind (
    key text primary key,
    effect text not null default '' constraint event_kind_effect check (effect in ('', 'closes', 'reopens')),
    meaning text not null
) strict, without rowid;
insert into event_kind (key, effect, meaning) values
    ('taken', '', 'the order was taken'),
    ('shape_kept', '', 'a shape was kept for the job'),
    ('power_decided', '', 'the owner decided which power to order: as prescribed, or compensated for the position of wear'),
    ('lens_right', '', 'an uncut right lens was taken in hand'),
    ('lens_left', '', 'an uncut left lens was taken in hand'),
    ('ticket_printed', '', 'the bench ticket was printed'),
    ('cut', '', 'the lenses were edged'),
    ('check_passed', '', 'a check found every required row within its limit'),
    ('check_failed', '', 'a check found a row outside its limit, or not measured'),
    ('check_conceded', '', 'the owner wrote why a pair that did not pass is sent'),
    ('packed', '', 'the packing list was gone through'),
    ('sent', 'closes', 'the parcel left'),
    ('paid', '', 'money came in or went back'),
    ('receipt', '', 'a receipt was issued'),
    ('note', '', 'a remark');

-- How far a job has come, in order.
create table stage (
    key text primary key,
    position integer not null unique
) strict, without rowid;
insert into stage (key, position) values
    ('taken', 1), ('shape_on_file', 2), ('lenses_in_hand', 3), ('cut', 4), ('checked', 5), ('packed', 6), ('sent', 7);

-- Why a job has an earlier job as its parent.
create table parent_reason (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into parent_reason (key, meaning) values
    ('new_lenses', 'new lenses for the frame of the earlier job'),
    ('remake', 'the earlier job is made again, for one eye or both');

-- What is done for an eye of a job.
create table eye_task (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into eye_task (key, meaning) values
    ('make', 'a lens is made'),
    ('keep', 'the lens in the frame stays'),
    ('balance', 'a balance lens is made: power free, weight and thickness near the other eye''s');

-- Which pupil distance a pair is centred on.
create table lens_use (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into lens_use (key, meaning) values ('distance', 'looking far'), ('near', 'reading');

-- The form of the front surface.
create table design (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into design (key, meaning) values ('spherical', 'spherical front'), ('aspheric', 'aspheric front');

-- How a frame holds the lens.
create table rim (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into rim (key, meaning) values
    ('metal', 'full rim, metal'), ('plastic', 'full rim, plastic'), ('cord', 'half rim, nylon cord'), ('drilled', 'rimless, drilled');

-- How a material is edged.
create table cutting_method (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into cutting_method (key, meaning) values
    ('wet', 'with water'), ('dry', 'without water'), ('dry_then_wet', 'roughed dry, finished with water');

-- What can be put on a lens.
create table treatment_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into treatment_kind (key, meaning) values ('coating', 'laid on the surface'), ('tint', 'dyed or light-reacting');

-- Published tolerance tables.
create table tolerance_profile (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into tolerance_profile (key, meaning) values ('z80_1', 'ANSI Z80.1-2015, single vision'), ('iso_21987', 'ISO 21987, mounted');

-- Which form of a prescription the procedure codes are taken from.
create table code_basis (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into code_basis (key, meaning) values
    ('as_written', 'as the prescription is written'), ('minus', 'minus-cylinder form'), ('plus', 'plus-cylinder form');

-- Where a shape comes from.
create table shape_origin (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into shape_origin (key, meaning) values
    ('traced', 'a trace file or a table of radii'), ('mirrored', 'the mirror image of its parent'),
    ('resized', 'its parent made larger or smaller'), ('drawn', 'a drawing or a picture');

-- Where a shape's distance between lenses comes from.
create table dbl_source (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into dbl_source (key, meaning) values
    ('file', 'the trace file'), ('stamp', 'the bridge stamped on the frame'), ('typed', 'typed by the owner');

-- What a kept file is.
create table attachment_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into attachment_kind (key, meaning) values
    ('trace', 'the bytes a shape was read from'), ('photograph', 'a picture'), ('letter', 'a letter or another document');

-- Why the number of lenses in the drawer moved.
create table drawer_move_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into drawer_move_kind (key, meaning) values
    ('stocked', 'put in the drawer'), ('corrected', 'the count was set right'), ('taken', 'taken in hand for a job'),
    ('returned', 'put back from a job'), ('spoiled', 'spoiled');

-- Which power the owner decided to order.
create table power_choice (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into power_choice (key, meaning) values
    ('prescribed', 'as prescribed'), ('compensated', 'compensated, so that the power as worn is the prescribed one');

-- When a layout was stored.
create table layout_moment (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into layout_moment (key, meaning) values ('ticket', 'the bench ticket was printed'), ('cut', 'the pair was cut');

-- What a row of a check compares, with the unit of its figures.
create table quantity (
    key text primary key,
    unit text not null,                         -- d (dioptre), deg, pd (prism dioptre), mm; '' where the row's limit decides
    meaning text not null
) strict, without rowid;
insert into quantity (key, unit, meaning) values
    ('power_strongest', 'd', 'power in the strongest meridian'),
    ('power_along_axis', 'd', 'power along the axis'),
    ('power_across_axis', 'd', 'power across the axis'),
    ('cylinder', 'd', 'cylinder, minus form'),
    ('axis', 'deg', 'axis of the minus cylinder'),
    ('vertical_imbalance', '', 'vertical prism between the eyes, or difference of the heights'),
    ('horizontal_imbalance', '', 'horizontal prism between the eyes, or difference of the distance'),
    ('prism_horizontal', 'pd', 'prescribed prism, horizontal, between the eyes'),
    ('prism_vertical', 'pd', 'prescribed prism, vertical, between the eyes'),
    ('centre_thickness', 'mm', 'centre thickness');

-- What a line of a bill is for.
create table charge_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into charge_kind (key, meaning) values
    ('frame', 'the frame'), ('lens', 'a single-vision lens'), ('material', 'the material over plain hard resin'),
    ('coating', 'a coating'), ('tint', 'a tint'), ('prism', 'prescribed prism'), ('shipping', 'packing and shipping'),
    ('discount', 'taken off; negative'), ('tax', 'sales tax'), ('other', 'anything else');

-- How money moves.
create table payment_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into payment_kind (key, meaning) values
    ('card', 'payment card'), ('check', 'paper check'), ('cash', 'cash'), ('transfer', 'bank transfer'), ('other', 'another way');
