-- The same table as in ../postgres; the reasons are there.

-- +goose Up

create table track_record (
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    axle       integer not null,
    part       text not null,
    removed    text not null,
    ahead      integer not null, -- days before removed
    fitted     text not null,
    left_mm    real not null, -- above the limit; negative past it
    left_share real not null, -- of the usable lining
    -- Where the set met its limit or would have: days since 1970-01-01, km on the
    -- vehicle's continuous scale. Null where too much was left to say.
    cross_day  real,
    cross_km   real,
    -- The forecast made so many days ahead; null when there was none.
    promised   text,
    replayed   integer not null, -- made afterwards, from what was known that day
    day_p10    real,
    day_p50    real,
    day_p90    real,
    km_p10     real,
    km_p50     real,
    km_p90     real,
    at_km      real, -- the odometer's total on that day
    primary key (vehicle_id, axle, part, removed, ahead)
) strict;
create index track_record_removed on track_record (removed);
