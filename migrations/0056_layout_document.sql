-- The check of `layout.document` says in so many words that a ticket may have none. `json_valid(null)` is null, which a check
-- lets pass, only from SQLite 3.41 on; before, it was 0, and the `sqlite3` tool of such a version finds every row without a
-- document at fault. No value changes, so only the text of the table does, as SQLite's own guide to `alter table` does it
-- (https://sqlite.org/lang_altertable.html, "Making Other Kinds Of Table Schema Changes"): the rows, the indexes, the
-- triggers, and what points at the table stay as they are.
pragma writable_schema = on;
update sqlite_schema
set sql = replace(sql, 'check (json_valid(document))', 'check (document is null or json_valid(document))')
where type = 'table' and name = 'layout';
pragma writable_schema = reset;
-- A change of the schema that everyone who has the book open sees: the text above is read anew.
drop trigger layout_is_never_changed;
create trigger layout_is_never_changed before update on layout begin select raise(abort, 'layout is never changed'); end;
