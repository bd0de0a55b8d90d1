-- The customer's own frame: that one is sent in, when it came and what it was like. And files that are kept with a job.
insert into event_kind (key, effect, meaning) values
    ('own_frame_expected', '', 'the customer sends in a frame of their own'),
    ('own_frame_received', '', 'the customer''s own frame came in, and its condition was noted'),
    ('file_added', '', 'a photograph or a letter was kept with the job');

alter table attachment add column note text not null default '';    -- what a person said of it
alter table attachment add column format text not null default '';  -- what its first bytes say it is; '' for a trace

-- The newest row of a job counts; an earlier one stays as it was noted.
create table own_frame_arrival (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    received_on text not null,
    condition text not null constraint own_frame_arrival_condition check (length(condition) between 1 and 500),
    at text not null constraint own_frame_arrival_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index own_frame_arrival_by_job on own_frame_arrival (job_number, seq);
create trigger own_frame_arrival_is_never_changed before update on own_frame_arrival begin
    select raise(abort, 'own_frame_arrival is never changed');
end;
create trigger own_frame_arrival_is_never_removed before delete on own_frame_arrival begin
    select raise(abort, 'own_frame_arrival is never removed');
end;
