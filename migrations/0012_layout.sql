-- A layout as it was made: written when the bench ticket is printed and when the pair is cut, so that a later change of
-- the lab's settings or of the shape leaves it as it was. Lengths in hundredths of a millimetre.
create table layout (
    seq integer primary key autoincrement,
    job_number integer not null,
    revision integer not null,                  -- what was ordered then
    moment text not null references layout_moment (key),
    shape_id blob references shape (id),        -- null: the ticket was printed before there was a shape
    blocker_step_hundredths integer,
    blank_margin_hundredths integer,
    dbl_hundredths integer,
    frame_pd_hundredths integer,
    wanted_pd_hundredths integer,
    document text constraint layout_document check (json_valid(document)), -- the ticket as it printed
    at text not null constraint layout_at check (at like '____-__-__T__:__:__.___Z'),
    foreign key (job_number, revision) references job_revision (job_number, revision)
) strict;
create index layout_by_job on layout (job_number, moment, seq);
create trigger layout_is_never_changed before update on layout begin select raise(abort, 'layout is never changed'); end;
create trigger layout_is_never_removed before delete on layout begin select raise(abort, 'layout is never removed'); end;

-- One eye of it. In and up are positive.
create table layout_eye (
    layout_seq integer not null references layout (seq),
    eye text not null constraint layout_eye_eye check (eye in ('right', 'left')),
    lens_seq integer references lens_in_hand (seq), -- the lens used; null: none was in hand
    wanted_pd_hundredths integer not null,
    wanted_height_hundredths integer not null,
    set_pd_hundredths integer not null,
    set_height_hundredths integer not null,
    nudge_in_hundredths integer not null,
    nudge_up_hundredths integer not null,
    decentration_in_hundredths integer not null,
    decentration_up_hundredths integer not null,
    centre_in_hundredths integer not null,      -- the optical centre from the boxing centre, moved for prescribed prism
    centre_up_hundredths integer not null,
    blank_exact_hundredths integer not null,    -- the smallest blank
    blank_with_margin_hundredths integer not null,
    lens_diameter_hundredths integer,           -- the lens it was figured for
    lens_front_power_hundredths integer,
    lens_centre_hundredths integer,
    lens_origin text not null default '',       -- where that lens comes from
    primary key (layout_seq, eye)
) strict, without rowid;
create trigger layout_eye_is_never_changed before update on layout_eye begin select raise(abort, 'layout_eye is never changed'); end;
create trigger layout_eye_is_never_removed before delete on layout_eye begin select raise(abort, 'layout_eye is never removed'); end;

-- Lenses were edged, by a layout.
create table cut (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    layout_seq integer references layout (seq),
    note text not null default '',
    at text not null constraint cut_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index cut_by_job on cut (job_number, seq);
create trigger cut_is_never_changed before update on cut begin select raise(abort, 'cut is never changed'); end;
create trigger cut_is_never_removed before delete on cut begin select raise(abort, 'cut is never removed'); end;

-- What the edger was set to for each eye, and what it came to where that was measured.
create table cut_eye (
    cut_seq integer not null references cut (seq),
    eye text not null constraint cut_eye_eye check (eye in ('right', 'left')),
    size_hundredths integer not null constraint cut_size check (size_hundredths between -1000 and 1000), -- added to the traced size
    circumference_hundredths integer,           -- measured after the cut
    box_width_hundredths integer,
    primary key (cut_seq, eye)
) strict, without rowid;
create trigger cut_eye_is_never_changed before update on cut_eye begin select raise(abort, 'cut_eye is never changed'); end;
create trigger cut_eye_is_never_removed before delete on cut_eye begin select raise(abort, 'cut_eye is never removed'); end;
