-- How a prescribed prism came into a lens, as the layout was made: `lens_in_hand.has_ground_prism` says it of the lens.
create table prism_make (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into prism_make (key, meaning) values
    ('decentred', 'the optical centre is moved from the pupil'),
    ('ground', 'ground in on the back; it reads at the prism reference point, before the pupil');
alter table layout_eye add column prism_make text references prism_make (key); -- null: no prism, or made before this file
