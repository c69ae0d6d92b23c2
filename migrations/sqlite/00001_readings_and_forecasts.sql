-- The same tables as in ../postgres; the reasons are there. Days and instants
-- are ISO text in UTC, which sorts; true and false are 1 and 0.

-- +goose Up

create table fleets (
    id       integer primary key,
    name     text not null,
    name_key text not null unique -- lower case
) strict;

create table depots (
    id        integer primary key,
    fleet_id  integer not null references fleets,
    name      text not null,
    name_key  text not null, -- lower case
    time_zone text not null, -- IANA name
    unique (fleet_id, name_key)
) strict;

create table vehicles (
    id       integer primary key,
    fleet_id integer not null references fleets,
    depot_id integer not null references depots,
    number   text not null, -- what people call it
    plate    text not null,
    category text not null, -- M1 to O4, blank when not known
    make     text not null,
    model    text not null,
    year     integer not null, -- of manufacture; 0 = not known
    duty     text not null,
    sort_key text not null, -- number, so that 9 comes before 10
    search   text not null, -- number, plate, make and model in lower case
    unique (fleet_id, number)
) strict;
create index vehicles_sort on vehicles (sort_key, id);
create index vehicles_depot on vehicles (depot_id);

create table axles (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    number     integer not null, -- 1 = front
    brake      text not null, -- disc, drum
    unique (vehicle_id, number)
) strict;

create table axle_specs (
    fleet_id   integer not null,
    vehicle_id integer not null,
    axle       integer not null,
    part       text not null, -- pad, rotor, lining, drum
    new_mm     real not null,
    limit_mm   real not null,
    source     text not null, -- "maker" or the id of a published value
    primary key (vehicle_id, axle, part),
    foreign key (vehicle_id, axle) references axles (vehicle_id, number)
) strict;

create table uploads (
    id       integer primary key,
    kind     text not null,
    name     text not null, -- file name as sent
    sha256   text not null, -- of its bytes, hex
    sent_by  text not null,
    sent_at  text not null,
    accepted integer not null,
    refused  integer not null,
    repeated integer not null
) strict;
create index uploads_hash on uploads (sha256, kind, id);

-- Which fleets and depots an upload speaks of: who sees all of them sees it.
create table upload_places (
    upload_id integer not null references uploads,
    fleet_id  integer not null references fleets,
    depot_id  integer not null references depots,
    primary key (upload_id, fleet_id, depot_id)
) strict;

create table upload_problems (
    upload_id integer not null references uploads,
    seq       integer not null,
    line      integer not null, -- 0 when it concerns the whole
    col       text not null,
    found     text not null, -- what was read
    message   text not null,
    refused   integer not null,
    primary key (upload_id, seq)
) strict;

create table odometer_readings (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    km               real not null,
    upload_id        integer not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    integer references odometer_readings,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    unique (vehicle_id, day, km)
) strict;

-- A visit: what its readings have in common.
create table inspections (
    id          integer primary key,
    fleet_id    integer not null,
    vehicle_id  integer not null references vehicles,
    day         text not null,
    odometer_km real,
    technician  text not null
) strict;
create unique index inspections_visit on inspections (vehicle_id, day, coalesce(odometer_km, -1), technician);

-- By far the largest table. It has no foreign keys, whose look-ups would take
-- longer than all the rest of storing a row; the visit has them. The vehicle
-- and the day are the visit's, repeated here for the key. The note is given
-- per reading.
create table thickness_readings (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null,
    inspection_id    integer not null,
    day              text not null,
    axle             integer not null,
    part             text not null,
    side             text not null, -- blank: thinner of both
    face             text not null, -- blank: thinner of both
    mm               real not null,
    tripped          integer not null, -- a sensor's signal: at or below mm
    given            text not null, -- as written by the technician
    unit             text not null,
    gauge            text not null,
    note             text not null,
    upload_id        integer not null,
    line             integer not null, -- of the upload's file; 0 for a form
    superseded_by    integer references thickness_readings,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text
) strict;
create unique index thickness_readings_key on thickness_readings
    (vehicle_id, day, axle, part, side, face, mm, tripped);

create table fitments (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    axle             integer not null,
    part             text not null,
    side             text not null, -- blank: both
    face             text not null, -- blank: both
    odometer_km      real,
    mm               real not null, -- when fitted; 0 = the specification's new value
    upload_id        integer not null references uploads,
    line             integer not null,
    superseded_by    integer references fitments,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    unique (vehicle_id, day, axle, part, side, face)
) strict;

-- The latest forecast of each axle. Quantiles are doubles, lowest byte first,
-- at the levels of the forecast package; null when not known.
create table axle_forecasts (
    fleet_id            integer not null,
    depot_id            integer not null, -- the vehicle's, repeated for the list's filter
    vehicle_id          integer not null references vehicles,
    axle                integer not null,
    model               text not null,
    as_of               text not null,
    odometer_km         real, -- estimated on as_of
    km_per_day          real,
    readings            integer not null,
    book_by             text,
    risk                real not null, -- accepted with book_by
    past_limit          integer not null,
    -- The position most likely to be first; blank when there is none.
    limiting            integer not null, -- seq in position_forecasts, or -1
    part                text not null,
    side                text not null,
    face                text not null,
    thickness_mm        real,
    new_mm              real,
    limit_mm            real,
    rate                real, -- mm per 10,000 km
    km_left             real,
    -- Quantiles of the limit date.
    p05                 text,
    p10                 text,
    p50                 text,
    p90                 text,
    p95                 text,
    width80_days        real,
    width80_if_measured real,
    warnings            text not null, -- JSON
    basis               text not null, -- JSON
    -- What the list is ordered by, ascending; never null, the unknown last.
    by_due              text not null, -- book_by, or as_of when past the limit and that is earlier
    by_limit            text not null,
    by_km               real not null,
    by_thickness        real not null,
    by_narrowing        real not null, -- minus the days one more inspection would take off
    km_quantiles        blob,
    day_quantiles       blob,
    primary key (vehicle_id, axle)
) strict;
create index axle_forecasts_due on axle_forecasts (by_due, vehicle_id, axle);
create index axle_forecasts_fleet_due on axle_forecasts (fleet_id, by_due, vehicle_id, axle);
create index axle_forecasts_depot_due on axle_forecasts (depot_id, by_due, vehicle_id, axle);
create index axle_forecasts_limit on axle_forecasts (by_limit, vehicle_id, axle);
create index axle_forecasts_km on axle_forecasts (by_km, vehicle_id, axle);
create index axle_forecasts_thickness on axle_forecasts (by_thickness, vehicle_id, axle);
create index axle_forecasts_narrowing on axle_forecasts (by_narrowing, vehicle_id, axle);

-- Worked out anew with axle_forecasts, whose rows it belongs to.
create table position_forecasts (
    fleet_id      integer not null,
    vehicle_id    integer not null,
    axle          integer not null,
    seq           integer not null,
    part          text not null,
    side          text not null,
    face          text not null,
    new_mm        real not null,
    limit_mm      real not null,
    thickness_mm  real,
    rate          real,
    readings      integer not null,
    since         text not null, -- start of the segment
    since_known   integer not null,
    km_quantiles  blob,
    day_quantiles blob,
    primary key (vehicle_id, axle, seq)
) strict;

-- What was promised when, for the score. Append only.
create table forecast_log (
    fleet_id    integer not null,
    vehicle_id  integer not null references vehicles,
    axle        integer not null,
    as_of       text not null,
    logged_at   text not null,
    model       text not null,
    readings    integer not null,
    odometer_km real,
    book_by     text,
    risk        real not null,
    past_limit  integer not null,
    -- Quantiles of the limit: days since 1970-01-01 and odometer km.
    day_p025 real,
    day_p05  real,
    day_p10  real,
    day_p25  real,
    day_p50  real,
    day_p75  real,
    day_p90  real,
    day_p95  real,
    day_p975 real,
    km_p025  real,
    km_p05   real,
    km_p10   real,
    km_p25   real,
    km_p50   real,
    km_p75   real,
    km_p90   real,
    km_p95   real,
    km_p975  real,
    primary key (vehicle_id, axle, as_of)
) strict;

-- What the forecast models learned, with its history. It belongs to the
-- installation: strength is borrowed across fleets.
create table model_parameters (
    id          integer primary key,
    model       text not null,
    fitted_at   text not null,
    as_of       text not null,
    learned     text not null, -- JSON
    diagnostics text not null -- JSON
) strict;
create index model_parameters_model on model_parameters (model, id);
