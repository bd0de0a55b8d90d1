-- How a prescribed prism came into a lens, as the layout was made: `lens_in_hand.has_ground_prism` says it of the lens.
create table prism_make (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into prism_make (key, meaning) values
    ('decentred', 'the optical centre is moved from the pupil'),
    ('ground', 'ground in on the back; it reads at the prism reference point, before the pupil');
alter table layout_eye add column prism_make text references prism_make (key); -- null: no prism, or made before this file

-- The vertex distance may be asked for and not be known: the two columns then hold the usual one that was reckoned with.
alter table position_of_wear add column vertex_is_known integer not null default 1
    constraint position_of_wear_vertex_is_known check (vertex_is_known in (0, 1));
-- How the trace of a wrapped front was made.
create table trace_plane (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into trace_plane (key, meaning) values
    ('flat', 'each rim lay level: widths are those of the lens itself'),
    ('as_worn', 'the front stood as it is worn: widths are those across the face');
alter table position_of_wear add column trace_plane text references trace_plane (key); -- null: flat

-- The lens that a power was decided for, so that another one in hand can be told from it.
alter table power_decision_eye add column front_power_hundredths integer
    constraint power_decision_eye_front_power check (front_power_hundredths between -2000 and 3000); -- true
alter table power_decision_eye add column centre_hundredths integer
    constraint power_decision_eye_centre check (centre_hundredths between 0 and 5000);

drop view power_decision_json;
drop view position_of_wear_json;
create view position_of_wear_json as
select seq, job_number, frame_id,
       json_object('vertex_tested_hundredths', vertex_tested_hundredths, 'vertex_hundredths', vertex_hundredths,
                   'panto_hundredths', panto_hundredths, 'wrap_hundredths', wrap_hundredths,
                   'vertex_is_known', vertex_is_known, 'trace_plane', trace_plane) as body
from position_of_wear;
create view power_decision_json as
select seq, job_number,
       json_object('choice', choice, 'at', at,
                   'position', (select json(body) from position_of_wear_json p where p.seq = position_seq),
                   'eyes', (select json_group_array(json_object(
                               'eye', eye, 'sphere_hundredths', sphere_hundredths,
                               'cylinder_hundredths', cylinder_hundredths, 'axis_deg', axis_deg,
                               'front_power_hundredths', front_power_hundredths, 'centre_hundredths', centre_hundredths))
                            from power_decision_eye where decision_seq = power_decision.seq)) as body
from power_decision;
