-- What is charged for a lens that costs more to make. Prescribed prism had its kind before.
insert into charge_kind (key, meaning) values
    ('high_power', 'a strong lens over a usual one'), ('oversize', 'a large blank over a usual one');

-- A job may have a second coating: `position` tells it from the first.
drop view job_treatments_json;
create view job_treatments_json as
select job_number, revision,
       (select json_group_array(json_object('position', t.position, 'id', hex(v.treatment_id), 'version', hex(v.id),
                                            'kind', v.kind, 'name', v.name, 'code', v.code, 'price_cents', v.price_cents))
        from job_treatment t join treatment_version v on v.id = t.version_id
        where t.job_number = r.job_number and t.revision = r.revision) as body
from job_revision r;

-- What says that a lens resists impact as 21 CFR 801.410 requires. Papers say so only where both lenses of a job have a row
-- that is newer than the lens in hand.
create table impact_proof_kind (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into impact_proof_kind (key, meaning) values
    ('certificate', 'the supplier certifies the lens'), ('own_test', 'the lab tested the lens itself');
insert into event_kind (key, effect, meaning) values
    ('impact_right', '', 'what says that the right lens resists impact was recorded'),
    ('impact_left', '', 'what says that the left lens resists impact was recorded');

-- The newest row of an eye counts.
create table impact_proof (
    seq integer primary key autoincrement,
    job_number integer not null references job (number),
    eye text not null constraint impact_proof_eye check (eye in ('right', 'left')),
    kind text not null references impact_proof_kind (key),
    says text not null constraint impact_proof_says check (length(says) between 1 and 200), -- the supplier's reference, or who tested and how
    tested_on text constraint impact_proof_tested_on check ((tested_on is null) = (kind <> 'own_test')), -- of an own test only
    at text not null constraint impact_proof_at check (at like '____-__-__T__:__:__.___Z')
) strict;
create index impact_proof_by_job on impact_proof (job_number, seq);
create trigger impact_proof_is_never_changed before update on impact_proof begin
    select raise(abort, 'impact_proof is never changed');
end;
create trigger impact_proof_is_never_removed before delete on impact_proof begin
    select raise(abort, 'impact_proof is never removed');
end;
