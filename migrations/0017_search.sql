-- Words to find people, frames and jobs by. The store writes a row again whenever something in it changes.
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
