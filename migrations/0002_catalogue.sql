-- What lenses are made of and what is put on them. A row is one version and never changes but to be retired:
-- an edit adds a row with the same line, so that a job points for ever at what was really ordered.
create table material (
    id blob primary key,                        -- UUIDv7
    line blob not null,                         -- the id of the first version: the same for all versions
    name text not null constraint material_name check (length(name) between 1 and 80),
    index_thousandths integer not null constraint material_index check (index_thousandths between 1400 and 2000),
    abbe_tenths integer not null constraint material_abbe check (abbe_tenths between 100 and 1000),
    density_hundredths integer not null constraint material_density check (density_hundredths between 50 and 600), -- g/cm3
    centre_hundredths integer not null constraint material_centre check (centre_hundredths between 50 and 1000), -- usual least centre, mm
    cutting text not null constraint material_cutting check (cutting in ('wet', 'dry', 'dry_then_wet')),
    code text not null default '',              -- procedure code of the material itself, '' for none
    price_cents integer not null constraint material_price check (price_cents between 0 and 10000000), -- a lens
    position integer not null,
    added_at text not null,
    retired_at text
) strict;
create unique index material_one_current on material (line) where retired_at is null;

create table treatment (
    id blob primary key,
    line blob not null,
    kind text not null constraint treatment_kind check (kind in ('coating', 'tint')),
    name text not null constraint treatment_name check (length(name) between 1 and 80),
    code text not null default '',
    price_cents integer not null constraint treatment_price check (price_cents between 0 and 10000000), -- a lens
    position integer not null,
    added_at text not null,
    retired_at text
) strict;
create unique index treatment_one_current on treatment (line) where retired_at is null;
