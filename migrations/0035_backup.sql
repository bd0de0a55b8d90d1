-- Where backups of the book go. One row, made here: its mark tells the backups of this book from those of another one in the
-- same folder, so that neither thins the other's.
create table backup_setting (
    id integer primary key check (id = 1),
    mark text not null constraint backup_setting_mark check (mark glob '[0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f]'),
    folder text not null default '' constraint backup_setting_folder check (length(folder) <= 1000), -- '': `backups` beside the book
    recipient text not null default '' constraint backup_setting_recipient check (length(recipient) <= 200), -- '': not encrypted
    changed_at text not null constraint backup_setting_changed_at check (changed_at like '____-__-__T__:__:__.___Z')
) strict;
insert into backup_setting (id, mark, changed_at) values (1, lower(hex(randomblob(4))), strftime('%Y-%m-%dT%H:%M:%fZ', 'now'));

-- What the row said before each change.
create table backup_setting_past (
    seq integer primary key autoincrement,
    folder text not null, recipient text not null, changed_at text not null
) strict;
create trigger backup_setting_keeps_its_past before update on backup_setting begin
    insert into backup_setting_past (folder, recipient, changed_at) values (old.folder, old.recipient, old.changed_at);
end;
create trigger backup_setting_past_is_never_changed before update on backup_setting_past begin
    select raise(abort, 'backup_setting_past is never changed');
end;
create trigger backup_setting_past_is_never_removed before delete on backup_setting_past begin
    select raise(abort, 'backup_setting_past is never removed');
end;
