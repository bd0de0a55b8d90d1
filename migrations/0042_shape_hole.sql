-- A shape can be its parent with other holes.
insert into shape_origin (key, meaning) values ('drilled', 'its parent with other holes');

-- The holes of a drilled mount, a row a hole. Each is measured to its center: inward from the nose or temple side of the box, and
-- up from the middle line of the box. Corrected holes are another shape, which names this one as its parent.
create table shape_hole (
    shape_id blob not null references shape (id),
    eye text not null constraint shape_hole_eye check (eye in ('right', 'left')),
    position integer not null,
    side text not null constraint shape_hole_side check (side in ('nose', 'temple')),
    from_side_hundredths integer not null,
    up_hundredths integer not null,
    end_from_side_hundredths integer,           -- the other end of a slot
    end_up_hundredths integer,
    diameter_hundredths integer not null constraint shape_hole_diameter check (diameter_hundredths between 50 and 600),
    constraint shape_hole_slot check ((end_from_side_hundredths is null) = (end_up_hundredths is null)),
    primary key (shape_id, eye, position)
) strict, without rowid;
create trigger shape_hole_is_never_changed before update on shape_hole begin select raise(abort, 'shape_hole is never changed'); end;
create trigger shape_hole_is_never_removed before delete on shape_hole begin select raise(abort, 'shape_hole is never removed'); end;

-- What is known of a rim in space, where its depth was traced.
create table shape_rim (
    shape_id blob not null references shape (id),
    eye text not null constraint shape_rim_eye check (eye in ('right', 'left')),
    circumference_hundredths integer not null,  -- along the rim
    tilt_hundredths integer not null,           -- of the plane that fits it best
    primary key (shape_id, eye)
) strict, without rowid;
create trigger shape_rim_is_never_changed before update on shape_rim begin select raise(abort, 'shape_rim is never changed'); end;
create trigger shape_rim_is_never_removed before delete on shape_rim begin select raise(abort, 'shape_rim is never removed'); end;

drop view shape_json;
create view shape_json as
select s.id,
       json_object('id', hex(s.id), 'job_number', s.job_number,
                   'parent_id', iif(s.parent_id is null, null, hex(s.parent_id)), 'origin', s.origin,
                   'dbl_hundredths', s.dbl_hundredths, 'dbl_source', s.dbl_source,
                   'eyes', (select json_group_array(json_object(
                               'eye', eye, 'trace', hex(trace), 'is_mirror', is_mirror,
                               'rim_curve_hundredths', rim_curve_hundredths))
                            from shape_eye where shape_id = s.id),
                   'holes', (select json_group_array(json_object(
                               'eye', eye, 'side', side, 'from_side_hundredths', from_side_hundredths,
                               'up_hundredths', up_hundredths, 'end_from_side_hundredths', end_from_side_hundredths,
                               'end_up_hundredths', end_up_hundredths, 'diameter_hundredths', diameter_hundredths))
                            from (select * from shape_hole where shape_id = s.id order by eye, position)),
                   'rims', (select json_group_array(json_object(
                               'eye', eye, 'circumference_hundredths', circumference_hundredths,
                               'tilt_hundredths', tilt_hundredths))
                            from shape_rim where shape_id = s.id)) as body
from shape s;
