-- +goose Up

-- Id of the rule set picked; blank: none.
alter table fleets add column rule_set text not null default '';

-- Append only, as are the two tables after it: the last row of its kind counts.
create table rule_set_choices (
    id       bigint generated always as identity primary key,
    fleet_id bigint not null references fleets,
    rule_set text not null,
    why      text not null,
    done_by  text not null,
    done_at  timestamptz not null
);
create index rule_set_choices_fleet on rule_set_choices (fleet_id, id);

-- A workshop's own threshold of a finding in the place of a published value.
create table own_thresholds (
    id       bigint generated always as identity primary key,
    fleet_id bigint not null references fleets,
    value_id text not null, -- of the published value
    x        double precision, -- in its unit inside; null: the published value again
    why      text not null,
    done_by  text not null,
    done_at  timestamptz not null
);
create index own_thresholds_fleet on own_thresholds (fleet_id, id);

-- A workshop's own limit of one part of an axle.
create table axle_limits (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    axle       integer not null,
    part       text not null,
    limit_mm   double precision, -- null: withdrawn
    why        text not null,
    done_by    text not null,
    done_at    timestamptz not null
);
create index axle_limits_part on axle_limits (vehicle_id, axle, part, id);

-- What rules depend on.
alter table vehicles
    add column first_used date, -- null: not known, the year stands in
    add column actuation text not null default '', -- air, hydraulic, electric; blank: not known
    add column gross_kg double precision not null default 0; -- 0: not known

-- A value that was not measured is 0, but for the odometer.
create table brake_tests (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null references vehicles,
    day              date not null,
    method           text not null, -- roller, plate, decelerometer, stop
    system           text not null, -- service, secondary, parking
    stage            text not null, -- before, after a job; blank: of none
    odometer_km      double precision,
    weight_kg        double precision not null,
    force_unit       text not null, -- in which the forces were written
    mean_decel       double precision not null, -- m/s2
    peak_decel       double precision not null, -- m/s2
    speed_kmh        double precision not null,
    distance_m       double precision not null,
    begin_m          double precision not null, -- where the speed was 0.8 of speed_kmh
    end_m            double precision not null, -- where it was 0.1
    pedal_n          double precision not null,
    technician       text not null,
    note             text not null,
    content          text not null, -- hash of what was measured
    upload_id        bigint not null references uploads,
    line             integer not null, -- first of the upload's file; 0 for a form
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    bigint references brake_tests,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz,
    revision         integer not null default 0,
    unique (vehicle_id, day, content, revision)
);

create table brake_efforts (
    test_id  bigint not null references brake_tests,
    fleet_id bigint not null,
    axle     integer not null,
    side     text not null,
    force_n  double precision not null,
    locked   boolean not null,
    primary key (test_id, axle, side)
);
