-- The bill changes after the order, money goes back, and what the money page asks for is kept in short tables.
insert into event_kind (key, effect, meaning) values
    ('bill_line', '', 'a line was added to the bill'),
    ('bill_line_reversed', '', 'a line of the bill was taken back'),
    ('refunded', '', 'money went back'),
    ('reminded', '', 'who pays was reminded of what is owed');

-- What a refund does to the bill.
create table refund_cause (
    key text primary key,
    meaning text not null
) strict, without rowid;
insert into refund_cause (key, meaning) values
    ('overpaid', 'more was paid than is owed; the bill stays'),
    ('goodwill', 'the bill goes down by the same amount, so nothing more is owed'),
    ('payment_undone', 'the payment is given back and the amount is owed again');
alter table payment add column refund_cause text references refund_cause (key); -- of a refund; null before this version

-- The day a line was billed, at the counter.
alter table charge add column charged_on text not null default '';
drop trigger charge_is_never_changed;
update charge set charged_on = (select ordered_on from job where number = charge.job_number);
create trigger charge_is_never_changed before update on charge begin select raise(abort, 'charge is never changed'); end;
create index charge_by_day on charge (charged_on, seq);

-- How long a period is that sums are kept for; `digits` is how much of a day names it.
create table period_span (
    key text primary key,
    digits integer not null,
    meaning text not null
) strict, without rowid;
insert into period_span (key, digits, meaning) values
    ('day', 10, 'one day, 2026-11-25'), ('month', 7, 'one month, 2026-11'), ('year', 4, 'one year, 2026');

-- What came in and went back in each period. This and the two tables below repeat what `payment` and `charge` say, so that
-- a page of a year reads a few rows; triggers keep them, and a test compares both sides.
create table takings (
    span text not null references period_span (key),
    period text not null,
    kind text not null references payment_kind (key),
    received_cents integer not null,
    refunded_cents integer not null,            -- positive
    primary key (span, period, kind)
) strict, without rowid;
create trigger payment_is_summed after insert on payment begin
    insert into takings (span, period, kind, received_cents, refunded_cents)
    select key, substr(new.paid_on, 1, digits), new.kind, max(new.amount_cents, 0), max(-new.amount_cents, 0)
    from period_span where true
    on conflict do update set received_cents = received_cents + excluded.received_cents,
                              refunded_cents = refunded_cents + excluded.refunded_cents;
end;

-- What was billed in each period.
create table billings (
    span text not null references period_span (key),
    period text not null,
    kind text not null references charge_kind (key),
    cents integer not null,
    primary key (span, period, kind)
) strict, without rowid;
create trigger charge_is_summed after insert on charge begin
    insert into billings (span, period, kind, cents)
    select key, substr(new.charged_on, 1, digits), new.kind, new.amount_cents from period_span where true
    on conflict do update set cents = cents + excluded.cents;
end;

-- The jobs that are not settled: what is owed, or negative, is to be given back, and the day since when.
create table open_balance (
    job_number integer primary key references job (number),
    owed_cents integer not null,
    since text not null
) strict;
create index open_balance_by_day on open_balance (since, job_number);
create trigger charge_moves_the_balance after insert on charge begin
    insert into open_balance (job_number, owed_cents, since) values (new.job_number, new.amount_cents, new.charged_on)
    on conflict do update set owed_cents = owed_cents + excluded.owed_cents,
        since = iif((owed_cents > 0) = (owed_cents + excluded.owed_cents > 0), since, excluded.since);
    delete from open_balance where job_number = new.job_number and owed_cents = 0;
end;
create trigger payment_moves_the_balance after insert on payment begin
    insert into open_balance (job_number, owed_cents, since) values (new.job_number, -new.amount_cents, new.paid_on)
    on conflict do update set owed_cents = owed_cents + excluded.owed_cents,
        since = iif((owed_cents > 0) = (owed_cents + excluded.owed_cents > 0), since, excluded.since);
    delete from open_balance where job_number = new.job_number and owed_cents = 0;
end;

-- What happened before this version.
insert into takings (span, period, kind, received_cents, refunded_cents)
select s.key, substr(p.paid_on, 1, s.digits), p.kind, sum(max(p.amount_cents, 0)), sum(max(-p.amount_cents, 0))
from payment p cross join period_span s group by 1, 2, 3;
insert into billings (span, period, kind, cents)
select s.key, substr(c.charged_on, 1, s.digits), c.kind, sum(c.amount_cents)
from charge c cross join period_span s group by 1, 2, 3;
insert into open_balance (job_number, owed_cents, since)
select job_number, sum(cents), (select ordered_on from job where number = job_number)
from (select job_number, amount_cents as cents from charge union all select job_number, -amount_cents from payment)
group by job_number having sum(cents) <> 0;

-- The prescriber's number joins the prescription.
drop view prescription_json;
create view prescription_json as
select id,
       json_object('prescriber', prescriber, 'prescriber_npi', prescriber_npi, 'written_on', written_on,
                   'expires_on', expires_on, 'diagnosis', diagnosis, 'pd_given', pd_given, 'near_pd_given', near_pd_given,
                   'eyes', (select json(body) from prescription_eyes_json e where e.id = prescription.id)) as body
from prescription;
