-- A kind of uncut lens in the drawer, minus-cylinder form, as printed on its envelope. `count` and `moves` are kept by the
-- trigger below: how many there are, and how often that number moved.
create table drawer_lens (
    id blob primary key,
    material_id blob not null references material (id),
    coating_id blob,
    coating_kind text generated always as ('coating') virtual,
    tint_id blob,
    tint_kind text generated always as ('tint') virtual,
    sphere_hundredths integer not null constraint drawer_lens_sphere check (sphere_hundredths between -3000 and 3000),
    cylinder_hundredths integer not null constraint drawer_lens_cylinder check (cylinder_hundredths between -1000 and 0),
    diameter_hundredths integer not null constraint drawer_lens_diameter check (diameter_hundredths between 4000 and 9000),
    centre_hundredths integer constraint drawer_lens_centre check (centre_hundredths between 50 and 2000),
    front_power_hundredths integer constraint drawer_lens_front_power check (front_power_hundredths between 0 and 2000), -- true
    base_hundredths integer constraint drawer_lens_base check (base_hundredths between 0 and 2000), -- nominal base, tool power 1.530
    reorder_at integer constraint drawer_lens_reorder_at check (reorder_at between 0 and 10000),
    count integer not null default 0 constraint drawer_lens_count check (count >= 0),
    moves integer not null default 0,
    added_at text not null constraint drawer_lens_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    foreign key (coating_id, coating_kind) references treatment (id, kind),
    foreign key (tint_id, tint_kind) references treatment (id, kind)
) strict;
create unique index drawer_lens_once on drawer_lens (material_id, sphere_hundredths, cylinder_hundredths, diameter_hundredths,
    coalesce(centre_hundredths, -1), coalesce(front_power_hundredths, -1), coalesce(base_hundredths, -1),
    coalesce(coating_id, x''), coalesce(tint_id, x''));

-- Lenses into and out of the drawer.
create table drawer_move (
    seq integer primary key autoincrement,
    drawer_lens_id blob not null references drawer_lens (id),
    kind text not null references drawer_move_kind (key),
    change integer not null constraint drawer_move_change check (change <> 0 and change between -10000 and 10000),
    job_number integer references job (number),
    eye text constraint drawer_move_eye check (eye in ('right', 'left')),
    source text not null default '',            -- supplier and lot
    note text not null default '',
    at text not null constraint drawer_move_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index drawer_move_by_lens on drawer_move (drawer_lens_id, seq);
create index drawer_move_by_job on drawer_move (job_number) where job_number is not null;
create trigger drawer_move_is_never_changed before update on drawer_move begin select raise(abort, 'drawer_move is never changed'); end;
create trigger drawer_move_is_never_removed before delete on drawer_move begin select raise(abort, 'drawer_move is never removed'); end;
create trigger drawer_counts_its_moves after insert on drawer_move begin
    update drawer_lens set count = count + new.change, moves = moves + 1 where id = new.drawer_lens_id;
end;

-- The uncut lens taken in hand for an eye; the newest row of an eye counts.
create table lens_in_hand (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    eye text not null constraint lens_in_hand_eye check (eye in ('right', 'left')),
    drawer_lens_id blob references drawer_lens (id), -- null: bought for this job
    source text not null default '',            -- supplier, lot and certificate, as the owner writes them
    diameter_hundredths integer not null constraint lens_in_hand_diameter check (diameter_hundredths between 4000 and 9000),
    centre_hundredths integer constraint lens_in_hand_centre check (centre_hundredths between 50 and 2000),
    front_power_hundredths integer constraint lens_in_hand_front_power check (front_power_hundredths between 0 and 2000),
    base_hundredths integer constraint lens_in_hand_base check (base_hundredths between 0 and 2000),
    -- the marked optical centre from the middle of the blank
    off_in_hundredths integer not null constraint lens_in_hand_off_in check (off_in_hundredths between -2000 and 2000),
    off_up_hundredths integer not null constraint lens_in_hand_off_up check (off_up_hundredths between -2000 and 2000),
    -- whether a prescribed prism is ground in, so that it reads at the middle of the blank
    has_ground_prism integer not null default 0 constraint lens_in_hand_has_ground_prism check (has_ground_prism in (0, 1)),
    at text not null constraint lens_in_hand_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index lens_in_hand_by_job on lens_in_hand (job_number, seq);
create trigger lens_in_hand_is_never_changed before update on lens_in_hand begin
    select raise(abort, 'lens_in_hand is never changed');
end;
create trigger lens_in_hand_is_never_removed before delete on lens_in_hand begin
    select raise(abort, 'lens_in_hand is never removed');
end;

-- A supplier's list of blanks pasted for a job, with the prism wanted before each eye; the newest row of a job counts.
create table supplier_list (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    typed text not null,                        -- as it was pasted
    prism_right text not null,                  -- as it was typed
    prism_left text not null,
    at text not null constraint supplier_list_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index supplier_list_by_job on supplier_list (job_number, seq);
create trigger supplier_list_is_never_changed before update on supplier_list begin
    select raise(abort, 'supplier_list is never changed');
end;
create trigger supplier_list_is_never_removed before delete on supplier_list begin
    select raise(abort, 'supplier_list is never removed');
end;

-- The blanks on it.
create table supplier_offer (
    list_seq integer not null references supplier_list (seq),
    position integer not null,
    diameter_hundredths integer not null constraint supplier_offer_diameter check (diameter_hundredths between 4000 and 9000),
    price_cents integer constraint supplier_offer_price check (price_cents between 0 and 100000000),
    remark text not null default '',
    primary key (list_seq, position)
) strict, without rowid;
create trigger supplier_offer_is_never_changed before update on supplier_offer begin
    select raise(abort, 'supplier_offer is never changed');
end;
create trigger supplier_offer_is_never_removed before delete on supplier_offer begin
    select raise(abort, 'supplier_offer is never removed');
end;

-- The prism wanted before each eye, in hundredths of a prism dioptre.
create table wanted_prism (
    list_seq integer not null references supplier_list (seq),
    eye text not null constraint wanted_prism_eye check (eye in ('right', 'left')),
    prism_in_hundredths integer not null constraint wanted_prism_in check (prism_in_hundredths between -2000 and 2000),
    prism_up_hundredths integer not null constraint wanted_prism_up check (prism_up_hundredths between -2000 and 2000),
    primary key (list_seq, eye)
) strict, without rowid;
create trigger wanted_prism_is_never_changed before update on wanted_prism begin
    select raise(abort, 'wanted_prism is never changed');
end;
create trigger wanted_prism_is_never_removed before delete on wanted_prism begin
    select raise(abort, 'wanted_prism is never removed');
end;
