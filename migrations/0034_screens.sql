-- The pass phrase that every screen asks for. Who did what from which screen stands in `job_event.by`, by the name that the
-- screen gave itself.
create table screen_lock (
    id integer primary key constraint screen_lock_one check (id = 1),
    hash text, -- of the pass phrase, argon2id with its salt; null while there is none
    idle_minutes integer not null constraint screen_lock_idle check (idle_minutes between 1 and 1440)
) strict;
insert into screen_lock (id, hash, idle_minutes) values (1, null, 60);

drop view job_history_json;
create view job_history_json as
select number as job_number,
       (select json_group_array(json_object('seq', e.seq, 'kind', e.kind, 'note', e.note, 'by', e.by, 'at', e.at))
        from job_event e where e.job_number = job.number) as body
from job;
