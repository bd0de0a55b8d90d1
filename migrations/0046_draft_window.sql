-- Which window of a browser typed a draft last, so that a second window on the same form does not write over it. Empty where
-- the form was sent without a script.
alter table draft add column writer text not null default '' constraint draft_writer check (length(writer) <= 40);
