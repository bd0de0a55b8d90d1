-- How a frame sits before the eyes, as its owner or the customer says. The newest row of a frame counts; none is changed.
create table frame_wear (
    seq integer primary key autoincrement,
    frame_id blob not null references frame (id),
    -- from the eye to the back of the lens where it is worn
    vertex_hundredths integer not null constraint frame_wear_vertex check (vertex_hundredths between 0 and 4000),
    -- in hundredths of a degree: panto with the lower edge towards the cheek, wrap with the outer edge towards the temple
    panto_hundredths integer not null constraint frame_wear_panto check (panto_hundredths between -4000 and 4000),
    wrap_hundredths integer not null constraint frame_wear_wrap check (wrap_hundredths between -4000 and 4000),
    added_at text not null
) strict;
create index frame_wear_by_frame on frame_wear (frame_id, seq);
create trigger frame_wear_is_never_changed before update on frame_wear begin select raise(abort, 'history is never changed'); end;
create trigger frame_wear_is_never_removed before delete on frame_wear begin select raise(abort, 'history is never removed'); end;

-- The owner's decision which power to order: as prescribed, or so that the worn power is the prescribed one.
-- The newest row of a job counts. A job without a row is made as prescribed.
create table worn_order (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    decision text not null constraint worn_order_decision check (decision in ('compensated', 'prescribed')),
    vertex_from_hundredths integer not null constraint worn_order_vertex_from check (vertex_from_hundredths between 0 and 4000),
    vertex_to_hundredths integer not null constraint worn_order_vertex_to check (vertex_to_hundredths between 0 and 4000),
    panto_hundredths integer not null constraint worn_order_panto check (panto_hundredths between -4000 and 4000),
    wrap_hundredths integer not null constraint worn_order_wrap check (wrap_hundredths between -4000 and 4000),
    -- what the lensmeter is to read; the prescription itself where the decision is 'prescribed'
    right_sphere_hundredths integer not null constraint worn_order_right_sphere check (right_sphere_hundredths between -3000 and 3000),
    right_cylinder_hundredths integer not null constraint worn_order_right_cylinder check (right_cylinder_hundredths between -1000 and 1000),
    right_axis_deg integer constraint worn_order_right_axis check (right_axis_deg between 1 and 180),
    left_sphere_hundredths integer not null constraint worn_order_left_sphere check (left_sphere_hundredths between -3000 and 3000),
    left_cylinder_hundredths integer not null constraint worn_order_left_cylinder check (left_cylinder_hundredths between -1000 and 1000),
    left_axis_deg integer constraint worn_order_left_axis check (left_axis_deg between 1 and 180),
    at text not null
) strict;
create index worn_order_by_job on worn_order (job_number, seq);
create trigger worn_order_is_never_changed before update on worn_order begin select raise(abort, 'history is never changed'); end;
create trigger worn_order_is_never_removed before delete on worn_order begin select raise(abort, 'history is never removed'); end;
