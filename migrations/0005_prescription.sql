-- A prescription as it was written, with the pupil distance the pair is made to. Never changed.
-- Powers in hundredths of a dioptre, prism in hundredths of a prism dioptre (in and up are positive),
-- lengths in hundredths of a millimetre. Cylinder 0 means no axis.
create table prescription (
    id blob primary key,
    customer_id blob not null references customer (id),
    right_sphere_hundredths integer not null constraint prescription_right_sphere check (right_sphere_hundredths between -3000 and 3000),
    right_cylinder_hundredths integer not null constraint prescription_right_cylinder check (right_cylinder_hundredths between -1000 and 1000),
    right_axis_deg integer constraint prescription_right_axis check ((right_axis_deg is null) = (right_cylinder_hundredths = 0) and (right_axis_deg is null or right_axis_deg between 1 and 180)),
    right_prism_in_hundredths integer not null constraint prescription_right_prism_in check (right_prism_in_hundredths between -2000 and 2000),
    right_prism_up_hundredths integer not null constraint prescription_right_prism_up check (right_prism_up_hundredths between -2000 and 2000),
    right_text text not null,                   -- what was typed
    left_sphere_hundredths integer not null constraint prescription_left_sphere check (left_sphere_hundredths between -3000 and 3000),
    left_cylinder_hundredths integer not null constraint prescription_left_cylinder check (left_cylinder_hundredths between -1000 and 1000),
    left_axis_deg integer constraint prescription_left_axis check ((left_axis_deg is null) = (left_cylinder_hundredths = 0) and (left_axis_deg is null or left_axis_deg between 1 and 180)),
    left_prism_in_hundredths integer not null constraint prescription_left_prism_in check (left_prism_in_hundredths between -2000 and 2000),
    left_prism_up_hundredths integer not null constraint prescription_left_prism_up check (left_prism_up_hundredths between -2000 and 2000),
    left_text text not null,
    prescriber text not null default '',
    written_on text,                            -- YYYY-MM-DD
    expires_on text,
    diagnosis text not null default '',         -- only ever as the prescriber wrote it
    pd_right_hundredths integer not null constraint prescription_pd_right check (pd_right_hundredths between 2000 and 4000),
    pd_left_hundredths integer not null constraint prescription_pd_left check (pd_left_hundredths between 2000 and 4000),
    pd_given text not null constraint prescription_pd_given check (pd_given in ('one', 'each')),
    near_given text constraint prescription_near_given check (near_given in ('one', 'each')), -- null: no near distance
    near_right_hundredths integer constraint prescription_near_right check (near_right_hundredths between 1800 and 4000),
    near_left_hundredths integer constraint prescription_near_left check (near_left_hundredths between 1800 and 4000),
    added_at text not null
) strict;
create index prescription_by_customer on prescription (customer_id, added_at);
