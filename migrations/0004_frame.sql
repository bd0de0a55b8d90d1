-- A frame as the catalogue and the stamp on its temple describe it; the traced shape is in `shape`.
create table frame (
    id blob primary key,
    maker text not null constraint frame_maker check (length(maker) between 1 and 80),
    model text not null constraint frame_model check (length(model) between 1 and 80),
    colour text not null default '',
    eye_size_hundredths integer not null constraint frame_eye_size check (eye_size_hundredths between 3000 and 7500), -- mm
    bridge_hundredths integer not null constraint frame_bridge check (bridge_hundredths between 800 and 3000),
    temple_hundredths integer constraint frame_temple check (temple_hundredths between 8000 and 18000),
    rim text not null constraint frame_rim check (rim in ('metal', 'plastic', 'cord', 'drilled')),
    price_cents integer not null constraint frame_price check (price_cents between 0 and 10000000),
    added_at text not null,
    constraint frame_once unique (maker, model, colour, eye_size_hundredths, bridge_hundredths)
) strict;
