-- Words to find people, frames and jobs by, made anew: a number is also found without its punctuation, a job also by who
-- pays for it, and a word with a wrong or missing letter by the words that are close to it.
-- These views say what is indexed. The store writes a row again whenever something in it changes.
drop table customer_search;
drop table frame_search;
drop table job_search;

-- A telephone number whole, without the area code, and in its parts; a name also without its apostrophes and hyphens.
create view customer_words as
select id, number,
       name || ' ' || replace(replace(replace(name, '''', ''), '’', ''), '-', '') as name,
       city || ' ' || region || ' ' || postcode as place,
       phone || ' ' || digits || ' ' || substr(digits, -10) || ' ' || substr(digits, -7) as phone,
       email
from (select *, replace(replace(replace(replace(replace(replace(phone, ' ', ''), '-', ''), '(', ''), ')', ''), '.', ''), '+', '')
                  as digits
      from customer);

-- The model also without its punctuation: C-12 is found by c12.
create view frame_words as
select id, number,
       maker || ' ' || model || ' ' || replace(replace(replace(model, '-', ''), ' ', ''), '.', '') || ' ' || colour || ' '
           || (eye_size_hundredths / 100) as words
from frame;

create view job_words as
select j.number,
       c.name || ' ' || c.place || ' ' || c.phone || ' ' || c.email || ' '
           || coalesce((select p.name || ' ' || p.phone || ' ' || p.email from customer_words p
                        where p.id = r.payer_id and r.payer_id <> j.patient_id), '')
           || ' ' || x.prescriber as person,
       f.words as frame,
       j.number || ' ' || substr(j.ordered_on, 1, 4)
           || ' ' || coalesce((select group_concat(number, ' ') from receipt where job_number = j.number), '')
           || ' ' || coalesce((select group_concat(tracking || ' ' || replace(replace(tracking, ' ', ''), '-', ''), ' ')
                               from shipment where job_number = j.number), '') as numbers
from job j
join job_revision r on r.job_number = j.number and r.revision = j.revision
join customer_words c on c.id = j.patient_id
join frame_words f on f.id = j.frame_id
join prescription x on x.id = r.prescription_id;

-- Accents count for nothing (Élodie is found by elodie); the prefixes make a search while typing fast.
create virtual table customer_search using fts5 (
    name, place, phone, email,                  -- rowid: customer.number
    tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3'
);
create virtual table frame_search using fts5 (
    words,                                      -- maker, model, colour, size; rowid: frame.number
    tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3'
);
create virtual table job_search using fts5 (
    person, frame, numbers,                     -- rowid: job.number; numbers: job, year, receipts, tracking
    tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3', detail = 'none', columnsize = 0
);
insert into customer_search (rowid, name, place, phone, email) select number, name, place, phone, email from customer_words;
insert into frame_search (rowid, words) select number, words from frame_words;
insert into job_search (rowid, person, frame, numbers) select number, person, frame, numbers from job_words order by number;

-- The terms of the indexes.
create virtual table customer_term using fts5vocab (customer_search, row);
create virtual table frame_term using fts5vocab (frame_search, row);
create virtual table job_term using fts5vocab (job_search, row);

-- The words of names, places and frames, without numbers. The program adds what is missing when it opens the book.
create table search_word (
    word text primary key                       -- in lower case, without accents
) strict, without rowid;

-- The beginning of each word with up to two letters left out, in every way. Close words share one of these.
create table search_gap (
    gap text not null,
    word text not null references search_word (word),
    primary key (gap, word)
) strict, without rowid;
