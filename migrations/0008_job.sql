-- One pair (or one lens) to make. The number is what is written on the tray: short, increasing, never used twice.
-- What was ordered stands in the newest `job_revision`. The columns from `revision` on only repeat what other tables say,
-- so that a list can use an index: triggers and the writing step of the store keep them.
create table job (
    number integer primary key autoincrement,
    patient_id blob not null references customer (id),
    parent_number integer references job (number), -- the earlier job, and why there is one
    parent_reason text references parent_reason (key),
    ordered_on text not null,
    taken_at text not null constraint job_taken_at check (taken_at like '____-__-__T__:__:__.___Z'),
    revision integer not null default 0,        -- the newest revision
    frame_id blob not null references frame (id), -- its frame
    promised_on text not null,                  -- its promise
    stage text not null default 'taken' references stage (key), -- what the events come to
    closed_at text constraint job_closed_at check (closed_at like '____-__-__T__:__:__.___Z'), -- null while it is open
    constraint job_parent check ((parent_number is null) = (parent_reason is null)),
    constraint job_promised_after_order check (promised_on >= ordered_on),
    constraint job_of_patient unique (number, patient_id)
) strict;
insert into sqlite_sequence (name, seq) values ('job', 1000);
create index job_by_patient on job (patient_id, number);
create index job_by_frame on job (frame_id, number);
create index job_by_parent on job (parent_number) where parent_number is not null;
create index job_open on job (promised_on, number) where closed_at is null;
create trigger job_is_never_removed before delete on job begin select raise(abort, 'job is never removed'); end;
create trigger job_is_never_renamed before update of number, patient_id, parent_number, parent_reason, ordered_on, taken_at on job begin
    select raise(abort, 'job: what it is never changes');
end;

-- What was ordered, as it stands since a moment. The first is the order; a correction adds the next.
create table job_revision (
    job_number integer not null,
    revision integer not null,
    patient_id blob not null,                   -- the job's own, so that its prescription is the patient's
    payer_id blob not null references customer (id),
    recipient_id blob not null references customer (id), -- where the parcel goes
    frame_id blob not null references frame (id),
    prescription_id blob not null,
    lens_use text not null references lens_use (key),
    material_version_id blob not null references material_version (id),
    design text not null references design (key),
    promised_on text not null,
    note text not null default '',              -- a remark for the bench
    reason text not null default '',            -- why it was corrected; '' for the order itself
    at text not null constraint job_revision_at check (at like '____-__-__T__:__:__.___Z'),
    primary key (job_number, revision),
    foreign key (job_number, patient_id) references job (number, patient_id),
    foreign key (prescription_id, patient_id) references prescription (id, patient_id)
) strict, without rowid;
create index job_revision_by_payer on job_revision (payer_id, job_number) where payer_id <> patient_id;
create trigger job_revision_is_never_changed before update on job_revision begin
    select raise(abort, 'job_revision is never changed');
end;
create trigger job_revision_is_never_removed before delete on job_revision begin
    select raise(abort, 'job_revision is never removed');
end;
create trigger job_has_its_newest_revision after insert on job_revision begin
    update job set revision = new.revision, frame_id = new.frame_id, promised_on = new.promised_on where number = new.job_number;
end;

-- What is done for each eye.
create table job_eye (
    job_number integer not null,
    revision integer not null,
    eye text not null constraint job_eye_eye check (eye in ('right', 'left')),
    task text not null references eye_task (key),
    -- height of the optical centre, null where none was given (it is then the middle line of the frame)
    height_hundredths integer constraint job_eye_height check (height_hundredths between -2000 and 6000),
    -- from where: the lowest point of the box, or the middle line
    height_from text not null constraint job_eye_height_from check (height_from in ('bottom', 'middle')),
    primary key (job_number, revision, eye),
    foreign key (job_number, revision) references job_revision (job_number, revision)
) strict, without rowid;
create trigger job_eye_is_never_changed before update on job_eye begin select raise(abort, 'job_eye is never changed'); end;
create trigger job_eye_is_never_removed before delete on job_eye begin select raise(abort, 'job_eye is never removed'); end;

-- What is put on the lenses. The kind is the version's own, so that a coating is a coating.
create table job_treatment (
    job_number integer not null,
    revision integer not null,
    kind text not null,
    position integer not null,
    version_id blob not null,
    primary key (job_number, revision, kind, position),
    foreign key (job_number, revision) references job_revision (job_number, revision),
    foreign key (version_id, kind) references treatment_version (id, kind)
) strict, without rowid;
create trigger job_treatment_is_never_changed before update on job_treatment begin
    select raise(abort, 'job_treatment is never changed');
end;
create trigger job_treatment_is_never_removed before delete on job_treatment begin
    select raise(abort, 'job_treatment is never removed');
end;

-- What happened to each job, in order. The stage of a job is what these come to.
create table job_event (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    kind text not null references event_kind (key),
    note text not null default '',
    by text,                                    -- who, where more than one works at the counter
    at text not null constraint job_event_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index job_event_by_job on job_event (job_number, seq);
create trigger job_event_is_never_changed before update on job_event begin select raise(abort, 'job_event is never changed'); end;
create trigger job_event_is_never_removed before delete on job_event begin select raise(abort, 'job_event is never removed'); end;
create trigger job_event_closes_the_job after insert on job_event
when (select effect from event_kind where key = new.kind) = 'closes' begin
    update job set closed_at = new.at where number = new.job_number and closed_at is null;
end;
create trigger job_event_reopens_the_job after insert on job_event
when (select effect from event_kind where key = new.kind) = 'reopens' begin
    update job set closed_at = null where number = new.job_number;
end;
