-- What every job page and every list of jobs asks of these tables is answered by the index alone.
drop index charge_by_job;
create index charge_by_job on charge (job_number, seq, amount_cents);
drop index payment_by_job;
create index payment_by_job on payment (job_number, seq, amount_cents);
drop index job_shape_by_job;
create index job_shape_by_job on job_shape (job_number, seq, shape_id);
drop index shipment_by_job;
create index shipment_by_job on shipment (job_number, seq, sent_on);
