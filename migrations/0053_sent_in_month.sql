-- How many jobs were sent in each month, counted as parcels leave. A parcel that is sent again in its month does not count again.
create table sent_in_month (
    month text primary key constraint sent_in_month_month check (month like '____-__'),
    jobs integer not null
) strict, without rowid;
insert into sent_in_month (month, jobs)
select substr(sent_on, 1, 7), count(distinct job_number) from shipment group by 1;

create trigger shipment_counts_in_its_month after insert on shipment
when not exists (select 1 from shipment where job_number = new.job_number and seq <> new.seq
                 and substr(sent_on, 1, 7) = substr(new.sent_on, 1, 7)) begin
    insert into sent_in_month (month, jobs) values (substr(new.sent_on, 1, 7), 1)
    on conflict (month) do update set jobs = jobs + 1;
end;

-- Nothing else asks for parcels by day.
drop index shipment_by_day;
