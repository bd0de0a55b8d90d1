-- A frame model as its maker's catalogue and the stamp on its temple describe it; traced shapes are in `shape`.
create table frame (
    number integer primary key,                 -- the row of `frame_search`
    id blob not null constraint frame_id unique,
    maker text not null constraint frame_maker check (length(maker) between 1 and 80),
    model text not null constraint frame_model check (length(model) between 1 and 80),
    colour text not null default '',
    eye_size_hundredths integer not null constraint frame_eye_size check (eye_size_hundredths between 3000 and 7500), -- mm
    bridge_hundredths integer not null constraint frame_bridge check (bridge_hundredths between 800 and 3000),
    temple_hundredths integer constraint frame_temple check (temple_hundredths between 8000 and 18000),
    rim text not null references rim (key),
    price_cents integer not null constraint frame_price check (price_cents between 0 and 10000000),
    added_at text not null constraint frame_added_at check (added_at like '____-__-__T__:__:__.___Z'),
    constraint frame_once unique (maker, model, colour, eye_size_hundredths, bridge_hundredths)
) strict;
create index frame_by_name on frame (maker, model, eye_size_hundredths, colour);
