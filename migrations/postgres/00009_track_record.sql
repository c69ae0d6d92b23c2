-- +goose Up

-- What forecasts promised, beside what came off: a row per set removed and per
-- distance ahead. Worked out from forecast_log and the readings, and anew when a
-- correction changes them.
create table track_record (
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    axle       integer not null,
    part       text collate "C" not null,
    removed    date not null,
    ahead      integer not null, -- days before removed
    fitted     date not null,
    left_mm    double precision not null, -- above the limit; negative past it
    left_share double precision not null, -- of the usable lining
    -- Where the set met its limit or would have: days since 1970-01-01, km on the
    -- vehicle's continuous scale. Null where too much was left to say.
    cross_day  double precision,
    cross_km   double precision,
    -- The forecast made so many days ahead; null when there was none.
    promised   date,
    replayed   boolean not null, -- made afterwards, from what was known that day
    day_p10    double precision,
    day_p50    double precision,
    day_p90    double precision,
    km_p10     double precision,
    km_p50     double precision,
    km_p90     double precision,
    at_km      double precision, -- the odometer's total on that day
    primary key (vehicle_id, axle, part, removed, ahead)
);
create index track_record_removed on track_record (removed);
