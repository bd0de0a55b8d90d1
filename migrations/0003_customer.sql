create table customer (
    id blob primary key,
    name text not null constraint customer_name check (length(name) between 1 and 120),
    line1 text not null default '',
    line2 text not null default '',
    city text not null default '',
    region text not null default '',
    postcode text not null default '',
    phone text not null default '',
    email text not null default '',
    note text not null default '',
    changed_at text not null
) strict;
create index customer_by_name on customer (name collate nocase);

create table customer_past (
    seq integer primary key autoincrement,
    customer_id blob not null references customer (id),
    name text not null, line1 text not null, line2 text not null, city text not null, region text not null,
    postcode text not null, phone text not null, email text not null, note text not null, changed_at text not null
) strict;

create trigger customer_keeps_its_past before update on customer begin
    insert into customer_past (customer_id, name, line1, line2, city, region, postcode, phone, email, note, changed_at)
    values (old.id, old.name, old.line1, old.line2, old.city, old.region, old.postcode, old.phone, old.email, old.note, old.changed_at);
end;
