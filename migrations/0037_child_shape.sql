-- A shape can be its parent without the tremble of the trace.
insert into shape_origin (key, meaning) values ('smoothed', 'its parent without the tremble of the trace');
