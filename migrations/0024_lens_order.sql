-- Buying uncut lenses, promising lenses of the drawer to jobs, and where a lens that was in hand went.

-- Who sells uncut lenses.
create table supplier (
    id blob primary key,
    name text not null constraint supplier_name check (length(name) between 1 and 100),
    added_at text not null constraint supplier_added_at check (added_at like '____-__-__T__:__:__.___Z')
) strict;
create unique index supplier_once on supplier (name collate nocase);
create trigger supplier_is_never_changed before update on supplier begin select raise(abort, 'supplier is never changed'); end;
create trigger supplier_is_never_removed before delete on supplier begin select raise(abort, 'supplier is never removed'); end;

-- A kind of lens in the drawer knows who sells it, what was said of its newest delivery, and how many are promised to jobs.
alter table drawer_lens add column supplier_id blob references supplier (id);
alter table drawer_lens add column source text not null default '';
alter table drawer_lens add column promised integer not null default 0
    constraint drawer_lens_promised check (promised between 0 and count);
drop trigger drawer_counts_its_moves;
create trigger drawer_counts_its_moves after insert on drawer_move begin
    update drawer_lens set count = count + new.change, moves = moves + 1,
                           source = iif(new.change > 0 and new.source <> '', new.source, source)
    where id = new.drawer_lens_id;
end;

-- A lens of the drawer that is kept for an eye of a job. It ends when the lens or another one is taken, when another is
-- chosen, and when the job closes.
create table lens_promise (
    seq integer primary key autoincrement,
    drawer_lens_id blob not null references drawer_lens (id),
    job_number integer not null references job (number),
    eye text not null constraint lens_promise_eye check (eye in ('right', 'left')),
    is_open integer not null default 1 constraint lens_promise_is_open check (is_open in (0, 1)),
    at text not null constraint lens_promise_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create unique index lens_promise_open on lens_promise (job_number, eye) where is_open = 1;
create index lens_promise_by_lens on lens_promise (drawer_lens_id) where is_open = 1;
create trigger lens_promise_is_never_changed before update on lens_promise
when old.is_open = 0 or new.is_open <> 0 or new.seq <> old.seq or new.drawer_lens_id <> old.drawer_lens_id
    or new.job_number <> old.job_number or new.eye <> old.eye or new.at <> old.at begin
    select raise(abort, 'lens_promise is never changed');
end;
create trigger lens_promise_is_never_removed before delete on lens_promise begin
    select raise(abort, 'lens_promise is never removed');
end;
create trigger lens_promise_counts after insert on lens_promise begin
    update drawer_lens set promised = promised + 1 where id = new.drawer_lens_id;
end;
create trigger lens_promise_ends after update of is_open on lens_promise begin
    update drawer_lens set promised = promised - 1 where id = new.drawer_lens_id;
end;
create trigger job_gives_up_its_promises after update of closed_at on job when new.closed_at is not null begin
    update lens_promise set is_open = 0 where job_number = new.number and is_open = 1;
end;

-- An order to a supplier. The number is what is said on the telephone.
create table purchase (
    number integer primary key autoincrement,
    supplier_id blob not null references supplier (id),
    ordered_on text not null,
    expected_on text not null,
    note text not null default '',
    at text not null constraint purchase_at check (at like '____-__-__T__:__:__.___Z'),
    constraint purchase_expected_after_order check (expected_on >= ordered_on)
) strict;
insert into sqlite_sequence (name, seq) values ('purchase', 100);
create trigger purchase_is_never_changed before update on purchase begin select raise(abort, 'purchase is never changed'); end;
create trigger purchase_is_never_removed before delete on purchase begin select raise(abort, 'purchase is never removed'); end;

-- What is ordered: a lens for an eye of a job, or lenses of a kind for the drawer. The two last counts are kept by the trigger
-- of `purchase_move`: how many are still to come, and how many are here and neither in hand nor in the drawer.
create table purchase_line (
    seq integer primary key autoincrement,
    purchase_number integer not null references purchase (number),
    job_number integer references job (number),
    eye text constraint purchase_line_eye check (eye in ('right', 'left')),
    drawer_lens_id blob references drawer_lens (id),
    material_id blob not null references material (id),
    coating_id blob references treatment (id),
    tint_id blob references treatment (id),
    treatments text not null default '',        -- all coatings and the tint, as they were called
    sphere_hundredths integer not null constraint purchase_line_sphere check (sphere_hundredths between -3000 and 3000),
    cylinder_hundredths integer not null constraint purchase_line_cylinder check (cylinder_hundredths between -1000 and 0),
    diameter_hundredths integer not null constraint purchase_line_diameter check (diameter_hundredths between 4000 and 9000),
    base_hundredths integer constraint purchase_line_base check (base_hundredths between 0 and 2000), -- nominal, tool power 1.530
    remark text not null default '',            -- what else is asked for, such as a prism to be ground in
    count integer not null constraint purchase_line_count check (count between 1 and 500),
    price_cents integer constraint purchase_line_price check (price_cents between 0 and 10000000), -- of one lens
    to_come integer not null constraint purchase_line_to_come check (to_come between 0 and count),
    here integer not null default 0 constraint purchase_line_here check (here between 0 and count),
    constraint purchase_line_for check ((job_number is null) = (eye is null) and (job_number is null) <> (drawer_lens_id is null)),
    constraint purchase_line_for_one check (job_number is null or count = 1)
) strict;
create index purchase_line_by_purchase on purchase_line (purchase_number, seq);
create index purchase_line_by_material on purchase_line (material_id, seq);
create index purchase_line_by_job on purchase_line (job_number, seq) where job_number is not null;
create index purchase_line_open on purchase_line (seq) where to_come + here > 0;
-- An eye of a job has one lens on its way.
create unique index purchase_line_open_for_job on purchase_line (job_number, eye) where to_come + here > 0 and job_number is not null;
create index purchase_line_open_for_drawer on purchase_line (drawer_lens_id) where to_come + here > 0 and drawer_lens_id is not null;
create trigger purchase_line_is_never_changed before update of seq, purchase_number, job_number, eye, drawer_lens_id, material_id,
    coating_id, tint_id, treatments, sphere_hundredths, cylinder_hundredths, diameter_hundredths, base_hundredths, remark, count, price_cents
    on purchase_line begin
    select raise(abort, 'purchase_line is never changed');
end;
create trigger purchase_line_is_never_removed before delete on purchase_line begin
    select raise(abort, 'purchase_line is never removed');
end;

create table purchase_move_kind (
    key text primary key,
    to_come integer not null,                   -- what it adds to the lenses still to come
    here integer not null,                      -- and to those that are here and wait
    meaning text not null
) strict, without rowid;
insert into purchase_move_kind (key, to_come, here, meaning) values
    ('arrived', -1, 1, 'it came'),
    ('cancelled', -1, 0, 'it will not come'),
    ('taken', 0, -1, 'taken in hand for its job'),
    ('stocked', 0, -1, 'counted into the drawer'),
    ('sent_back', 0, -1, 'sent back to the supplier');

-- What happened to the lenses of a line.
create table purchase_move (
    seq integer primary key autoincrement,
    line_seq integer not null references purchase_line (seq),
    kind text not null references purchase_move_kind (key),
    count integer not null constraint purchase_move_count check (count between 1 and 500),
    source text not null default '',            -- lot and certificate, as the owner writes them
    at text not null constraint purchase_move_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index purchase_move_by_line on purchase_move (line_seq, seq);
create trigger purchase_move_is_never_changed before update on purchase_move begin
    select raise(abort, 'purchase_move is never changed');
end;
create trigger purchase_move_is_never_removed before delete on purchase_move begin
    select raise(abort, 'purchase_move is never removed');
end;
create trigger purchase_move_counts after insert on purchase_move begin
    update purchase_line
    set to_come = to_come + new.count * (select to_come from purchase_move_kind where key = new.kind),
        here = here + new.count * (select here from purchase_move_kind where key = new.kind)
    where seq = new.line_seq;
end;

-- A lens that was in hand for a job and went elsewhere unspoiled: back into the drawer, or to another job, for which the drawer
-- keeps it. Spoiled ones are in `spoiled_lens`.
create table lens_put_back (
    lens_seq integer primary key references lens_in_hand (seq),
    job_number integer not null references job (number),
    drawer_lens_id blob not null references drawer_lens (id),
    for_job integer references job (number),
    at text not null constraint lens_put_back_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index lens_put_back_by_job on lens_put_back (job_number);
create trigger lens_put_back_is_never_changed before update on lens_put_back begin
    select raise(abort, 'lens_put_back is never changed');
end;
create trigger lens_put_back_is_never_removed before delete on lens_put_back begin
    select raise(abort, 'lens_put_back is never removed');
end;
