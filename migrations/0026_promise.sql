-- The people of a job and its promise.
insert into event_kind (key, effect, meaning) values
    ('people_changed', '', 'who pays for the job, or who gets the parcel, was corrected');
