-- The same as in ../postgres; the reasons are there.

-- +goose Up

create table inspection_conditions (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    inspection_id    integer not null references inspections,
    day              text not null, -- the inspection's, repeated for the key
    axle             integer not null, -- 0: the whole vehicle
    side             text not null, -- blank: both
    kind             text not null, -- contaminated, cracked, tapered, glazed, sensor tripped, not measured, noted
    note             text not null,
    note_key         text not null, -- hash of the note, blank for none
    upload_id        integer not null references uploads,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    constraint inspection_conditions_key unique (vehicle_id, day, axle, side, kind, note_key)
) strict;

update vehicles set search = search || char(10) || lower(replace(replace(number || char(10) || plate, ' ', ''), '-', ''));
