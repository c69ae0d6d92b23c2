-- Every row hangs on a fleet, the key to partition or shard by. Columns called
-- ..._key, sort_key, search and by_... are worked out from the others by the
-- store, so that both kinds of database order and find alike.
-- Text that is ordered or compared is of collation "C": bytes, as in SQLite.

-- +goose Up

create table fleets (
    id       bigint generated always as identity primary key,
    name     text not null,
    name_key text collate "C" not null unique -- lower case
);

create table depots (
    id        bigint generated always as identity primary key,
    fleet_id  bigint not null references fleets,
    name      text not null,
    name_key  text collate "C" not null, -- lower case
    time_zone text not null, -- IANA name
    unique (fleet_id, name_key)
);

create table vehicles (
    id       bigint generated always as identity primary key,
    fleet_id bigint not null references fleets,
    depot_id bigint not null references depots,
    number   text collate "C" not null, -- what people call it
    plate    text not null,
    category text not null, -- M1 to O4, blank when not known
    make     text not null,
    model    text not null,
    year     integer not null, -- of manufacture; 0 = not known
    duty     text not null,
    sort_key text collate "C" not null, -- number, so that 9 comes before 10
    search   text collate "C" not null, -- number, plate, make and model in lower case
    unique (fleet_id, number)
);
create index vehicles_sort on vehicles (sort_key, id);
create index vehicles_depot on vehicles (depot_id);

create table axles (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    number     integer not null, -- 1 = front
    brake      text not null, -- disc, drum
    unique (vehicle_id, number)
);

create table axle_specs (
    fleet_id   bigint not null,
    vehicle_id bigint not null,
    axle       integer not null,
    part       text collate "C" not null, -- pad, rotor, lining, drum
    new_mm     double precision not null,
    limit_mm   double precision not null,
    source     text not null, -- "maker" or the id of a published value
    primary key (vehicle_id, axle, part),
    foreign key (vehicle_id, axle) references axles (vehicle_id, number)
);

create table uploads (
    id       bigint generated always as identity primary key,
    kind     text not null,
    name     text not null, -- file name as sent
    sha256   text collate "C" not null, -- of its bytes, hex
    sent_by  text not null,
    sent_at  timestamptz not null,
    accepted integer not null,
    refused  integer not null,
    repeated integer not null
);
create index uploads_hash on uploads (sha256, kind, id);

-- Which fleets and depots an upload speaks of: who sees all of them sees it.
create table upload_places (
    upload_id bigint not null references uploads,
    fleet_id  bigint not null references fleets,
    depot_id  bigint not null references depots,
    primary key (upload_id, fleet_id, depot_id)
);

create table upload_problems (
    upload_id bigint not null references uploads,
    seq       integer not null,
    line      integer not null, -- 0 when it concerns the whole
    col       text not null,
    found     text not null, -- what was read
    message   text not null,
    refused   boolean not null,
    primary key (upload_id, seq)
);

create table odometer_readings (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null references vehicles,
    day              date not null,
    km               double precision not null,
    upload_id        bigint not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    bigint references odometer_readings,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz,
    unique (vehicle_id, day, km)
);

-- A visit: what its readings have in common.
create table inspections (
    id          bigint generated always as identity primary key,
    fleet_id    bigint not null,
    vehicle_id  bigint not null references vehicles,
    day         date not null,
    odometer_km double precision,
    technician  text collate "C" not null
);
create unique index inspections_visit on inspections (vehicle_id, day, coalesce(odometer_km, -1), technician);

-- By far the largest table. It has no foreign keys, whose look-ups would take
-- longer than all the rest of storing a row; the visit has them. The vehicle
-- and the day are the visit's, repeated here for the key. The note is given
-- per reading.
create table thickness_readings (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null,
    inspection_id    bigint not null,
    day              date not null,
    axle             integer not null,
    part             text collate "C" not null,
    side             text collate "C" not null, -- blank: thinner of both
    face             text collate "C" not null, -- blank: thinner of both
    mm               double precision not null,
    tripped          boolean not null, -- a sensor's signal: at or below mm
    given            text not null, -- as written by the technician
    unit             text not null,
    gauge            text not null,
    note             text not null,
    upload_id        bigint not null,
    line             integer not null, -- of the upload's file; 0 for a form
    superseded_by    bigint references thickness_readings,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz
);
create unique index thickness_readings_key on thickness_readings
    (vehicle_id, day, axle, part, side, face, mm, tripped);

create table fitments (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null references vehicles,
    day              date not null,
    axle             integer not null,
    part             text collate "C" not null,
    side             text collate "C" not null, -- blank: both
    face             text collate "C" not null, -- blank: both
    odometer_km      double precision,
    mm               double precision not null, -- when fitted; 0 = the specification's new value
    upload_id        bigint not null references uploads,
    line             integer not null,
    superseded_by    bigint references fitments,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz,
    unique (vehicle_id, day, axle, part, side, face)
);

-- The latest forecast of each axle. Quantiles are doubles, lowest byte first,
-- at the levels of the forecast package; null when not known.
create table axle_forecasts (
    fleet_id            bigint not null,
    depot_id            bigint not null, -- the vehicle's, repeated for the list's filter
    vehicle_id          bigint not null references vehicles,
    axle                integer not null,
    model               text not null,
    as_of               date not null,
    odometer_km         double precision, -- estimated on as_of
    km_per_day          double precision,
    readings            integer not null,
    book_by             date,
    risk                double precision not null, -- accepted with book_by
    past_limit          boolean not null,
    -- The position most likely to be first; blank when there is none.
    limiting            integer not null, -- seq in position_forecasts, or -1
    part                text not null,
    side                text not null,
    face                text not null,
    thickness_mm        double precision,
    new_mm              double precision,
    limit_mm            double precision,
    rate                double precision, -- mm per 10,000 km
    km_left             double precision,
    -- Quantiles of the limit date.
    p05                 date,
    p10                 date,
    p50                 date,
    p90                 date,
    p95                 date,
    width80_days        double precision,
    width80_if_measured double precision,
    warnings            text not null, -- JSON
    basis               text not null, -- JSON
    -- What the list is ordered by, ascending; never null, the unknown last.
    by_due              date not null, -- book_by, or as_of when past the limit and that is earlier
    by_limit            date not null,
    by_km               double precision not null,
    by_thickness        double precision not null,
    by_narrowing        double precision not null, -- minus the days one more inspection would take off
    km_quantiles        bytea,
    day_quantiles       bytea,
    primary key (vehicle_id, axle)
);
create index axle_forecasts_due on axle_forecasts (by_due, vehicle_id, axle);
create index axle_forecasts_fleet_due on axle_forecasts (fleet_id, by_due, vehicle_id, axle);
create index axle_forecasts_depot_due on axle_forecasts (depot_id, by_due, vehicle_id, axle);
create index axle_forecasts_limit on axle_forecasts (by_limit, vehicle_id, axle);
create index axle_forecasts_km on axle_forecasts (by_km, vehicle_id, axle);
create index axle_forecasts_thickness on axle_forecasts (by_thickness, vehicle_id, axle);
create index axle_forecasts_narrowing on axle_forecasts (by_narrowing, vehicle_id, axle);

-- Worked out anew with axle_forecasts, whose rows it belongs to.
create table position_forecasts (
    fleet_id      bigint not null,
    vehicle_id    bigint not null,
    axle          integer not null,
    seq           integer not null,
    part          text not null,
    side          text not null,
    face          text not null,
    new_mm        double precision not null,
    limit_mm      double precision not null,
    thickness_mm  double precision,
    rate          double precision,
    readings      integer not null,
    since         date not null, -- start of the segment
    since_known   boolean not null,
    km_quantiles  bytea,
    day_quantiles bytea,
    primary key (vehicle_id, axle, seq)
);

-- What was promised when, for the score. Append only.
create table forecast_log (
    fleet_id    bigint not null,
    vehicle_id  bigint not null references vehicles,
    axle        integer not null,
    as_of       date not null,
    logged_at   timestamptz not null,
    model       text not null,
    readings    integer not null,
    odometer_km double precision,
    book_by     date,
    risk        double precision not null,
    past_limit  boolean not null,
    -- Quantiles of the limit: days since 1970-01-01 and odometer km.
    day_p025 double precision,
    day_p05  double precision,
    day_p10  double precision,
    day_p25  double precision,
    day_p50  double precision,
    day_p75  double precision,
    day_p90  double precision,
    day_p95  double precision,
    day_p975 double precision,
    km_p025  double precision,
    km_p05   double precision,
    km_p10   double precision,
    km_p25   double precision,
    km_p50   double precision,
    km_p75   double precision,
    km_p90   double precision,
    km_p95   double precision,
    km_p975  double precision,
    primary key (vehicle_id, axle, as_of)
);

-- What the forecast models learned, with its history. It belongs to the
-- installation: strength is borrowed across fleets.
create table model_parameters (
    id          bigint generated always as identity primary key,
    model       text collate "C" not null,
    fitted_at   timestamptz not null,
    as_of       date not null,
    learned     text not null, -- JSON
    diagnostics text not null -- JSON
);
create index model_parameters_model on model_parameters (model, id);
