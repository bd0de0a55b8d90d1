-- Uncut lenses in the drawer. How many there are is the sum of the moves.
create table drawer_lens (
    id blob primary key,
    material_line blob not null,
    sphere_hundredths integer not null constraint drawer_sphere check (sphere_hundredths between -3000 and 3000),
    cylinder_hundredths integer not null constraint drawer_cylinder check (cylinder_hundredths between -1000 and 0), -- minus form
    diameter_hundredths integer not null constraint drawer_diameter check (diameter_hundredths between 4000 and 9000),
    centre_hundredths integer not null constraint drawer_centre check (centre_hundredths between 50 and 2000),
    front_power_hundredths integer not null constraint drawer_front check (front_power_hundredths between 0 and 2000),
    added_at text not null,
    constraint drawer_once unique (material_line, sphere_hundredths, cylinder_hundredths, diameter_hundredths, centre_hundredths, front_power_hundredths)
) strict;

create table drawer_move (
    seq integer primary key autoincrement,
    drawer_lens_id blob not null references drawer_lens (id),
    change integer not null constraint drawer_change check (change <> 0),
    job_number integer references job (number),
    added_at text not null
) strict;
create index drawer_move_by_lens on drawer_move (drawer_lens_id);

-- The uncut lens chosen for an eye; the newest row of an eye is the one on the bench (an older one was spoiled or swapped).
create table lens_in_hand (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    eye text not null constraint lens_eye check (eye in ('right', 'left')),
    drawer_lens_id blob references drawer_lens (id), -- null: bought for this job
    source text not null default '',            -- supplier, lot, certificate as written by the owner
    diameter_hundredths integer not null constraint lens_diameter check (diameter_hundredths between 4000 and 9000),
    centre_hundredths integer constraint lens_centre check (centre_hundredths between 50 and 2000),
    front_power_hundredths integer constraint lens_front check (front_power_hundredths between 0 and 2000),
    -- how far the marked optical centre lies from the middle of the blank: in and up positive
    off_in_hundredths integer not null default 0 constraint lens_off_in check (off_in_hundredths between -2000 and 2000),
    off_up_hundredths integer not null default 0 constraint lens_off_up check (off_up_hundredths between -2000 and 2000),
    added_at text not null
) strict;
create index lens_in_hand_by_job on lens_in_hand (job_number, seq);

create table cut (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    size_hundredths integer not null constraint cut_size check (size_hundredths between -200 and 200), -- added to the size at the edger, mm
    note text not null default '',
    added_at text not null
) strict;
create index cut_by_job on cut (job_number, seq);
