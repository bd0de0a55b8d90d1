-- The nouns that every page of a job reads, as arrays: without the names of the fields a page costs a tenth less. The values
-- stand in the order of the fields of the row type in `src/store`.
drop view customer_json;
create view customer_json as
select id, json_array(hex(id), name, line1, line2, city, region, postcode, phone, email, note) as body
from customer;

drop view frame_json;
create view frame_json as
select id,
       json_array(hex(id), maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                  price_cents) as body
from frame;

drop view material_version_json;
create view material_version_json as
select id,
       json_array(hex(material_id), hex(id), name, index_thousandths, abbe_tenths, density_hundredths, centre_hundredths,
                  cutting, code, price_cents) as body
from material_version;

drop view prescription_json;
drop view prescription_eyes_json;
create view prescription_eyes_json as
select id,
       (select json_group_array(json_array(eye, typed, sphere_hundredths, cylinder_hundredths, axis_deg,
                                           prism_in_hundredths, prism_up_hundredths, pd_hundredths, near_pd_hundredths))
        from prescription_eye where prescription_id = prescription.id) as body
from prescription;

create view prescription_json as
select id,
       json_array(prescriber, prescriber_npi, written_on, expires_on, diagnosis, pd_given, near_pd_given,
                  (select json(body) from prescription_eyes_json e where e.id = prescription.id)) as body
from prescription;

drop view job_eyes_json;
create view job_eyes_json as
select job_number, revision,
       (select json_group_array(json_array(e.eye, e.task, e.height_hundredths, e.height_from))
        from job_eye e where e.job_number = r.job_number and e.revision = r.revision) as body
from job_revision r;

drop view job_treatments_json;
create view job_treatments_json as
select job_number, revision,
       (select json_group_array(json_array(t.position, json_array(hex(v.treatment_id), hex(v.id), v.kind, v.name, v.code,
                                                                  v.price_cents)))
        from job_treatment t join treatment_version v on v.id = t.version_id
        where t.job_number = r.job_number and t.revision = r.revision) as body
from job_revision r;

drop view job_history_json;
create view job_history_json as
select number as job_number,
       (select json_group_array(json_array(e.seq, e.kind, e.note, e.by, e.at))
        from job_event e where e.job_number = job.number) as body
from job;
