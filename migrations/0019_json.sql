-- Each noun of a job as JSON, so that one statement reads a whole job: a statement costs a hand-over to the thread that
-- runs SQLite, which is more than most statements take. Each view is read by the row type of the same noun in `src/store`.
-- Keys are in hexadecimal digits.
create view customer_json as
select id,
       json_object('id', hex(id), 'name', name, 'line1', line1, 'line2', line2, 'city', city, 'region', region,
                   'postcode', postcode, 'phone', phone, 'email', email, 'note', note) as body
from customer;

create view frame_json as
select id,
       json_object('id', hex(id), 'maker', maker, 'model', model, 'colour', colour,
                   'eye_size_hundredths', eye_size_hundredths, 'bridge_hundredths', bridge_hundredths,
                   'temple_hundredths', temple_hundredths, 'rim', rim, 'price_cents', price_cents) as body
from frame;

create view material_version_json as
select id,
       json_object('id', hex(material_id), 'version', hex(id), 'name', name, 'index_thousandths', index_thousandths,
                   'abbe_tenths', abbe_tenths, 'density_hundredths', density_hundredths,
                   'centre_hundredths', centre_hundredths, 'cutting', cutting, 'code', code,
                   'price_cents', price_cents) as body
from material_version;

create view prescription_eyes_json as
select id,
       (select json_group_array(json_object(
                   'eye', eye, 'typed', typed, 'sphere_hundredths', sphere_hundredths,
                   'cylinder_hundredths', cylinder_hundredths, 'axis_deg', axis_deg,
                   'prism_in_hundredths', prism_in_hundredths, 'prism_up_hundredths', prism_up_hundredths,
                   'pd_hundredths', pd_hundredths, 'near_pd_hundredths', near_pd_hundredths))
        from prescription_eye where prescription_id = prescription.id) as body
from prescription;

create view prescription_json as
select id,
       json_object('prescriber', prescriber, 'written_on', written_on, 'expires_on', expires_on,
                   'diagnosis', diagnosis, 'pd_given', pd_given, 'near_pd_given', near_pd_given,
                   'eyes', (select json(body) from prescription_eyes_json e where e.id = prescription.id)) as body
from prescription;

-- Of a revision of a job: what is done for each eye, and what is put on the lenses.
create view job_eyes_json as
select job_number, revision,
       (select json_group_array(json_object('eye', e.eye, 'task', e.task, 'height_hundredths', e.height_hundredths,
                                            'height_from', e.height_from))
        from job_eye e where e.job_number = r.job_number and e.revision = r.revision) as body
from job_revision r;

create view job_treatments_json as
select job_number, revision,
       (select json_group_array(json_object('id', hex(v.treatment_id), 'version', hex(v.id), 'kind', v.kind,
                                            'name', v.name, 'code', v.code, 'price_cents', v.price_cents))
        from job_treatment t join treatment_version v on v.id = t.version_id
        where t.job_number = r.job_number and t.revision = r.revision) as body
from job_revision r;

-- What happened to a job.
create view job_history_json as
select number as job_number,
       (select json_group_array(json_object('seq', e.seq, 'kind', e.kind, 'note', e.note, 'at', e.at))
        from job_event e where e.job_number = job.number) as body
from job;

create view position_of_wear_json as
select seq, job_number, frame_id,
       json_object('vertex_tested_hundredths', vertex_tested_hundredths, 'vertex_hundredths', vertex_hundredths,
                   'panto_hundredths', panto_hundredths, 'wrap_hundredths', wrap_hundredths) as body
from position_of_wear;

create view power_decision_json as
select seq, job_number,
       json_object('choice', choice, 'at', at,
                   'position', (select json(body) from position_of_wear_json p where p.seq = position_seq),
                   'eyes', (select json_group_array(json_object(
                               'eye', eye, 'sphere_hundredths', sphere_hundredths,
                               'cylinder_hundredths', cylinder_hundredths, 'axis_deg', axis_deg))
                            from power_decision_eye where decision_seq = power_decision.seq)) as body
from power_decision;

-- The trace of each eye is in hexadecimal digits too.
create view shape_json as
select s.id,
       json_object('id', hex(s.id), 'job_number', s.job_number,
                   'parent_id', iif(s.parent_id is null, null, hex(s.parent_id)), 'origin', s.origin,
                   'dbl_hundredths', s.dbl_hundredths, 'dbl_source', s.dbl_source,
                   'eyes', (select json_group_array(json_object(
                               'eye', eye, 'trace', hex(trace), 'is_mirror', is_mirror,
                               'rim_curve_hundredths', rim_curve_hundredths))
                            from shape_eye where shape_id = s.id)) as body
from shape s;
