-- Old records on their way into the book, some jobs at a time, so that no other save waits for all of them. First everything is
-- staged: it is tried, taken back, and kept here, where no page sees it. Then the row of `old_import` is written, and one of
-- `old_writing` beside it: from then on the jobs are in, and what is staged is written, the last jobs first, also by the next
-- start after a program was stopped. What is staged without a row of `old_writing` is thrown away.
create table old_staged (
    position integer primary key,               -- of its first job among those of the import, from 0
    lines text not null                         -- JSON, as src/store/old_record/batch.rs writes it
) strict;
create table old_staged_file (
    staged_position integer not null references old_staged (position),
    position integer not null,                  -- of its job
    name text not null,                         -- of the trace file
    bytes blob not null,
    bridge_hundredths integer not null,         -- of the frame
    primary key (staged_position, position)
) strict;

-- The import that is being written; there is no row at other times.
create table old_writing (
    import_seq integer primary key references old_import (seq),
    first_job integer not null                  -- the number of its job 0
) strict;

-- Imports whose shapes are not compared with those on file yet. The row goes when they are.
create table old_uncompared (
    import_seq integer primary key references old_import (seq),
    next_job integer not null,                  -- the first job that was not looked at
    last_job integer not null
) strict;
