-- Names compare by Unicode's compatibility caseless match. The program renews the keys of a book of an earlier version when
-- it opens it; `pragma user_version` says that this is done.
-- A new key is no new name: what a customer was called is kept only when something that was typed changes.
drop trigger customer_keeps_its_past;
create trigger customer_keeps_its_past
before update of name, line1, line2, city, region, postcode, phone, email, note, changed_at on customer begin
    insert into customer_past (customer_id, name, line1, line2, city, region, postcode, phone, email, note, changed_at)
    values (old.id, old.name, old.line1, old.line2, old.city, old.region, old.postcode, old.phone, old.email, old.note, old.changed_at);
end;
