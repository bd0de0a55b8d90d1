-- How the frame of a job sits before the wearer's eyes. The newest row of a job counts; none is changed.
-- Lengths in hundredths of a millimetre, angles in hundredths of a degree.
create table position_of_wear (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    frame_id blob not null references frame (id), -- the job's frame then: where the next job in it starts from
    vertex_tested_hundredths integer constraint position_of_wear_vertex_tested check (vertex_tested_hundredths between 0 and 4000),
    -- from the eye to the back of the lens where it is worn
    vertex_hundredths integer not null constraint position_of_wear_vertex check (vertex_hundredths between 0 and 4000),
    -- pantoscopic tilt: the lower edge toward the cheek is positive
    panto_hundredths integer not null constraint position_of_wear_panto check (panto_hundredths between -4000 and 4000),
    -- wrap: the outer edge toward the temple is positive
    wrap_hundredths integer not null constraint position_of_wear_wrap check (wrap_hundredths between -4000 and 4000),
    at text not null constraint position_of_wear_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index position_of_wear_by_job on position_of_wear (job_number, seq);
create index position_of_wear_by_frame on position_of_wear (frame_id, seq);
create trigger position_of_wear_is_never_changed before update on position_of_wear begin
    select raise(abort, 'position_of_wear is never changed');
end;
create trigger position_of_wear_is_never_removed before delete on position_of_wear begin
    select raise(abort, 'position_of_wear is never removed');
end;

-- The owner's decision which power to order, for the position it was decided for.
-- The newest row of a job counts. A job without a row is made as prescribed.
create table power_decision (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    choice text not null references power_choice (key),
    position_seq integer not null references position_of_wear (seq),
    event_seq integer not null references job_event (seq), -- its place in the history
    at text not null constraint power_decision_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index power_decision_by_job on power_decision (job_number, seq);
create trigger power_decision_is_never_changed before update on power_decision begin
    select raise(abort, 'power_decision is never changed');
end;
create trigger power_decision_is_never_removed before delete on power_decision begin
    select raise(abort, 'power_decision is never removed');
end;

-- What the lensmeter is to read; the prescription itself where the choice is 'prescribed'.
create table power_decision_eye (
    decision_seq integer not null references power_decision (seq),
    eye text not null constraint power_decision_eye_eye check (eye in ('right', 'left')),
    sphere_hundredths integer not null constraint power_decision_eye_sphere check (sphere_hundredths between -3000 and 3000),
    cylinder_hundredths integer not null constraint power_decision_eye_cylinder check (cylinder_hundredths between -1000 and 1000),
    axis_deg integer constraint power_decision_eye_axis check (axis_deg between 1 and 180),
    primary key (decision_seq, eye)
) strict, without rowid;
create trigger power_decision_eye_is_never_changed before update on power_decision_eye begin
    select raise(abort, 'power_decision_eye is never changed');
end;
create trigger power_decision_eye_is_never_removed before delete on power_decision_eye begin
    select raise(abort, 'power_decision_eye is never removed');
end;
