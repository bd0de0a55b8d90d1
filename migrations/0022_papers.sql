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
