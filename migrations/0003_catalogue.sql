-- What lenses are made of, and what is put on them. The material is one row for ever, and a lens in the drawer points at
-- it. What the owner says of it is a version: an edit adds the next one, and a job points at the version it was ordered in.
create table material (
    id blob primary key,                        -- UUIDv7
    position integer not null,                  -- the owner's order
    added_at text not null constraint material_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    retired_at text constraint material_retired_at check (retired_at like '____-__-__T__:__:__.___Z') -- taken off sale
) strict;

create table material_version (
    id blob primary key,
    material_id blob not null references material (id),
    number integer not null,                    -- 1, 2, ...; the largest is the one on sale
    name text not null constraint material_version_name check (length(name) between 1 and 80),
    index_thousandths integer not null constraint material_version_index check (index_thousandths between 1400 and 2000),
    abbe_tenths integer not null constraint material_version_abbe check (abbe_tenths between 100 and 1000),
    density_hundredths integer not null constraint material_version_density check (density_hundredths between 50 and 600), -- g/cm3
    centre_hundredths integer not null constraint material_version_centre check (centre_hundredths between 50 and 1000), -- usual least centre, mm
    cutting text not null references cutting_method (key),
    code text not null default '',              -- procedure code of the material itself, '' for none
    price_cents integer not null constraint material_version_price check (price_cents between 0 and 10000000), -- a lens
    added_at text not null constraint material_version_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    constraint material_version_once unique (material_id, number)
) strict;
create trigger material_version_is_never_changed before update on material_version begin
    select raise(abort, 'material_version is never changed');
end;
create trigger material_version_is_never_removed before delete on material_version begin
    select raise(abort, 'material_version is never removed');
end;

-- A coating or a tint; the same two tables.
create table treatment (
    id blob primary key,
    kind text not null references treatment_kind (key),
    position integer not null,
    added_at text not null constraint treatment_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    retired_at text constraint treatment_retired_at check (retired_at like '____-__-__T__:__:__.___Z'),
    constraint treatment_of_kind unique (id, kind)
) strict;

create table treatment_version (
    id blob primary key,
    treatment_id blob not null,
    kind text not null,                         -- the treatment's own kind: see the foreign key
    number integer not null,
    name text not null constraint treatment_version_name check (length(name) between 1 and 80),
    code text not null default '',
    price_cents integer not null constraint treatment_version_price check (price_cents between 0 and 10000000), -- a lens
    added_at text not null constraint treatment_version_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    constraint treatment_version_once unique (treatment_id, number),
    constraint treatment_version_of_kind unique (id, kind),
    foreign key (treatment_id, kind) references treatment (id, kind)
) strict;
create trigger treatment_version_is_never_changed before update on treatment_version begin
    select raise(abort, 'treatment_version is never changed');
end;
create trigger treatment_version_is_never_removed before delete on treatment_version begin
    select raise(abort, 'treatment_version is never removed');
end;
