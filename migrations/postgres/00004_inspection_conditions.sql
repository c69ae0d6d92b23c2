-- +goose Up

-- What a person saw at an inspection beside the measured values.
create table inspection_conditions (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null references vehicles,
    inspection_id    bigint not null references inspections,
    day              date not null, -- the inspection's, repeated for the key
    axle             integer not null, -- 0: the whole vehicle
    side             text collate "C" not null, -- blank: both
    kind             text collate "C" not null, -- contaminated, cracked, tapered, glazed, sensor tripped, not measured, noted
    note             text not null,
    note_key         text collate "C" not null, -- hash of the note, blank for none
    upload_id        bigint not null references uploads,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz,
    constraint inspection_conditions_key unique (vehicle_id, day, axle, side, kind, note_key)
);

-- People leave out the spaces and dashes of a plate: see Writer.Vehicles.
update vehicles set search = search || chr(10) || lower(replace(replace(number || chr(10) || plate, ' ', ''), '-', ''));
