-- A person: who wears a pair, who pays for it, or where it goes.
create table customer (
    number integer primary key,                 -- the row of `customer_search`
    id blob not null constraint customer_id unique,
    name text not null constraint customer_name check (length(name) between 1 and 120),
    name_key text not null,                     -- the name in lower case with single blanks: equal keys are namesakes
    line1 text not null default '',
    line2 text not null default '',
    city text not null default '',
    region text not null default '',
    postcode text not null default '',
    phone text not null default '',
    email text not null default '',
    note text not null default '',
    changed_at text not null constraint customer_changed_at check (changed_at like '____-__-__T__:__:__.___Z')
) strict;
create index customer_by_name on customer (name_key, number);

create table customer_past (
    seq integer primary key autoincrement,
    customer_id blob not null references customer (id),
    name text not null, line1 text not null, line2 text not null, city text not null, region text not null,
    postcode text not null, phone text not null, email text not null, note text not null, changed_at text not null
) strict;
create index customer_past_by_customer on customer_past (customer_id, seq);

create trigger customer_keeps_its_past before update on customer begin
    insert into customer_past (customer_id, name, line1, line2, city, region, postcode, phone, email, note, changed_at)
    values (old.id, old.name, old.line1, old.line2, old.city, old.region, old.postcode, old.phone, old.email, old.note, old.changed_at);
end;
create trigger customer_is_never_removed before delete on customer begin select raise(abort, 'customer is never removed'); end;
create trigger customer_past_is_never_changed before update on customer_past begin
    select raise(abort, 'customer_past is never changed');
end;
create trigger customer_past_is_never_removed before delete on customer_past begin
    select raise(abort, 'customer_past is never removed');
end;
