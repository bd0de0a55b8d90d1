-- A prescription as it was written, with the pupil distance the pair is made to. Never changed: a correction is a new one.
-- Powers in hundredths of a dioptre, prism in hundredths of a prism dioptre (in and up are positive),
-- lengths in hundredths of a millimetre. Cylinder 0 means no axis.
create table prescription (
    id blob primary key,
    patient_id blob not null references customer (id),
    prescriber text not null default '',
    prescriber_npi text not null default '',
    written_on text,                            -- YYYY-MM-DD
    expires_on text,
    diagnosis text not null default '',         -- only as the prescriber wrote it
    -- whether one number was given for both eyes, or one for each; null: no such distance
    pd_given text constraint prescription_pd_given check (pd_given in ('one', 'each')),
    near_pd_given text constraint prescription_near_pd_given check (near_pd_given in ('one', 'each')),
    added_at text not null constraint prescription_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    constraint prescription_of_patient unique (id, patient_id)
) strict;
create index prescription_by_patient on prescription (patient_id, added_at);
create trigger prescription_is_never_changed before update on prescription begin
    select raise(abort, 'prescription is never changed');
end;
create trigger prescription_is_never_removed before delete on prescription begin
    select raise(abort, 'prescription is never removed');
end;

-- One eye of it. No power at all (sphere null) is an eye nobody prescribed for.
create table prescription_eye (
    prescription_id blob not null references prescription (id),
    eye text not null constraint prescription_eye_eye check (eye in ('right', 'left')),
    typed text not null,                        -- what was typed
    sphere_hundredths integer constraint prescription_eye_sphere check (sphere_hundredths between -3000 and 3000),
    cylinder_hundredths integer constraint prescription_eye_cylinder check (cylinder_hundredths between -1000 and 1000),
    axis_deg integer constraint prescription_eye_axis check
        ((axis_deg is null) = (coalesce(cylinder_hundredths, 0) = 0) and (axis_deg is null or axis_deg between 1 and 180)),
    prism_in_hundredths integer not null constraint prescription_eye_prism_in check (prism_in_hundredths between -2000 and 2000),
    prism_up_hundredths integer not null constraint prescription_eye_prism_up check (prism_up_hundredths between -2000 and 2000),
    pd_hundredths integer constraint prescription_eye_pd check (pd_hundredths between 2000 and 4000),
    near_pd_hundredths integer constraint prescription_eye_near_pd check (near_pd_hundredths between 1800 and 4000),
    constraint prescription_eye_power check ((sphere_hundredths is null) = (cylinder_hundredths is null)),
    primary key (prescription_id, eye)
) strict, without rowid;
create trigger prescription_eye_is_never_changed before update on prescription_eye begin
    select raise(abort, 'prescription_eye is never changed');
end;
create trigger prescription_eye_is_never_removed before delete on prescription_eye begin
    select raise(abort, 'prescription_eye is never removed');
end;
