-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

-- Id of the rule set picked; blank: none.
alter table fleets add column rule_set text not null default '';

-- Append only, as are the two tables after it: the last row of its kind counts.
create table rule_set_choices (
    id       integer primary key,
    fleet_id integer not null references fleets,
    rule_set text not null,
    why      text not null,
    done_by  text not null,
    done_at  text not null
) strict;
create index rule_set_choices_fleet on rule_set_choices (fleet_id, id);

-- A workshop's own threshold of a finding in the place of a published value.
create table own_thresholds (
    id       integer primary key,
    fleet_id integer not null references fleets,
    value_id text not null, -- of the published value
    x        real, -- in its unit inside; null: the published value again
    why      text not null,
    done_by  text not null,
    done_at  text not null
) strict;
create index own_thresholds_fleet on own_thresholds (fleet_id, id);

-- A workshop's own limit of one part of an axle.
create table axle_limits (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    axle       integer not null,
    part       text not null,
    limit_mm   real, -- null: withdrawn
    why        text not null,
    done_by    text not null,
    done_at    text not null
) strict;
create index axle_limits_part on axle_limits (vehicle_id, axle, part, id);

-- What rules depend on.
alter table vehicles add column first_used text; -- null: not known, the year stands in
alter table vehicles add column actuation text not null default ''; -- air, hydraulic, electric; blank: not known
alter table vehicles add column gross_kg real not null default 0; -- 0: not known

-- A value that was not measured is 0, but for the odometer.
create table brake_tests (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    method           text not null, -- roller, plate, decelerometer, stop
    system           text not null, -- service, secondary, parking
    stage            text not null, -- before, after a job; blank: of none
    odometer_km      real,
    weight_kg        real not null,
    force_unit       text not null, -- in which the forces were written
    mean_decel       real not null, -- m/s2
    peak_decel       real not null, -- m/s2
    speed_kmh        real not null,
    distance_m       real not null,
    begin_m          real not null, -- where the speed was 0.8 of speed_kmh
    end_m            real not null, -- where it was 0.1
    pedal_n          real not null,
    technician       text not null,
    note             text not null,
    content          text not null, -- hash of what was measured
    upload_id        integer not null references uploads,
    line             integer not null, -- first of the upload's file; 0 for a form
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    integer references brake_tests,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    revision         integer not null default 0,
    unique (vehicle_id, day, content, revision)
) strict;

create table brake_efforts (
    test_id  integer not null references brake_tests,
    fleet_id integer not null,
    axle     integer not null,
    side     text not null,
    force_n  real not null,
    locked   integer not null,
    primary key (test_id, axle, side)
) strict;
