-- One pair of lenses to make. The number is what is written on the tray: short, increasing, never used twice.
create table job (
    number integer primary key autoincrement,
    customer_id blob not null references customer (id),
    frame_id blob not null references frame (id),
    prescription_id blob not null references prescription (id),
    relens_of integer references job (number),  -- new lenses for the frame of this earlier job
    made_for text not null constraint job_made_for check (made_for in ('distance', 'near')), -- which pupil distance is used
    material_id blob not null references material (id),
    design text not null constraint job_design check (design in ('spherical', 'aspheric')),
    coating_id blob references treatment (id),
    tint_id blob references treatment (id),
    -- height of the optical centre above the lowest point of the box
    height_right_hundredths integer not null constraint job_height_right check (height_right_hundredths between 500 and 6000),
    height_left_hundredths integer not null constraint job_height_left check (height_left_hundredths between 500 and 6000),
    ordered_on text not null,
    promised_on text not null constraint job_promised_after_order check (promised_on >= ordered_on),
    note text not null default '',
    ordered_at text not null
) strict;
insert into sqlite_sequence (name, seq) values ('job', 1000);
create index job_by_customer on job (customer_id);
create index job_by_frame on job (frame_id);
create index job_by_promise on job (promised_on);

-- What the customer is asked to pay, line by line, as agreed when the order was taken.
create table charge (
    job_number integer not null references job (number),
    position integer not null,
    kind text not null constraint charge_kind check (kind in ('frame', 'lens', 'material', 'coating', 'tint', 'prism', 'shipping', 'discount', 'tax', 'other')),
    eye text constraint charge_eye check (eye in ('right', 'left')),
    what text not null,
    code text not null default '',
    amount_cents integer not null constraint charge_amount check (amount_cents between -100000000 and 100000000),
    primary key (job_number, position)
) strict, without rowid;

create table payment (
    id blob primary key,
    job_number integer not null references job (number),
    kind text not null constraint payment_kind check (kind in ('card', 'check', 'cash', 'transfer', 'other')),
    amount_cents integer not null constraint payment_amount check (amount_cents between -100000000 and 100000000 and amount_cents <> 0),
    paid_on text not null,
    added_at text not null
) strict;
create index payment_by_job on payment (job_number);

-- What happened to each job, in order. The stage of a job is read from here and from nowhere else.
create table job_event (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    kind text not null constraint job_event_kind check (kind in
        ('taken', 'shape_kept', 'lens_right', 'lens_left', 'cut', 'check_passed', 'check_failed', 'check_excused',
         'packed', 'sent', 'paid', 'receipt', 'note')),
    note text not null default '',
    at text not null
) strict;
create index job_event_by_job on job_event (job_number, seq);
create trigger job_event_is_never_changed before update on job_event begin select raise(abort, 'history is never changed'); end;
create trigger job_event_is_never_removed before delete on job_event begin select raise(abort, 'history is never removed'); end;
