-- +goose Up

-- A section's steps as a workshop keeps them: append only, the highest version
-- counts; a card keeps the steps it was made from. A fleet without a row has the
-- program's own.
create table step_plans (
    fleet_id bigint not null references fleets,
    section  text collate "C" not null,
    version  integer not null, -- from 1
    steps    text not null, -- JSON
    made_by  text not null,
    made_at  timestamptz not null,
    primary key (fleet_id, section, version)
);

-- Check values of vehicles' makers.
create table makers_values (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null references fleets,
    make       text not null, -- blank: any
    model      text not null, -- blank: any
    axle       integer not null, -- 0: any
    measure    text not null, -- name of a measure of a step
    low        double precision,
    high       double precision,
    unit       text not null,
    source     text not null, -- where it was read
    changed_by text not null,
    changed_at timestamptz not null
);
create unique index makers_values_key on makers_values (fleet_id, make, model, axle, measure);

create table job_cards (
    id          bigint generated always as identity primary key,
    fleet_id    bigint not null references fleets,
    vehicle_id  bigint not null references vehicles,
    depot_id    bigint not null references depots,
    booking_id  bigint references bookings, -- null: of none
    day         date not null,
    odometer_km double precision,
    work        text not null, -- JSON
    state       text not null, -- open, passed, not passed, dropped
    opened_by   text not null,
    opened_at   timestamptz not null,
    closed_by   text not null,
    closed_at   timestamptz,
    note        text not null
);
create index job_cards_vehicle on job_cards (vehicle_id, id);
create index job_cards_open on job_cards (depot_id, state, day);
-- One card at a time for a booking; one that was dropped may be followed.
create unique index job_cards_booking on job_cards (booking_id) where state <> 'dropped';

create table job_card_steps (
    card_id bigint not null references job_cards,
    seq     integer not null,
    section text not null,
    axle    integer not null, -- 0: the whole vehicle
    step    text not null, -- JSON, as it was when the card was made
    primary key (card_id, seq)
);

-- What was entered for a step. Append only: the latest counts.
create table job_card_entries (
    id         bigint generated always as identity primary key,
    card_id    bigint not null,
    seq        integer not null,
    state      text not null, -- done, failed, skipped
    noted      text not null, -- JSON: the measures' values, null for none
    note       text not null,
    entered_by text not null,
    entered_at timestamptz not null,
    key        text collate "C" not null, -- the sender's own name for it; blank: none
    foreign key (card_id, seq) references job_card_steps (card_id, seq)
);
create index job_card_entries_card on job_card_entries (card_id, seq, id);
create unique index job_card_entries_key on job_card_entries (card_id, seq, key) where key <> '';

-- Parts fitted by a card; their segments start at the fitment.
create table job_card_parts (
    id         bigint generated always as identity primary key,
    card_id    bigint not null references job_cards,
    axle       integer not null,
    part       text not null,
    side       text not null, -- blank: both
    number     text not null,
    batch      text not null,
    mm         double precision not null, -- when new
    measured   boolean not null, -- otherwise nominal
    fitment_id bigint not null references fitments,
    fitted_by  text not null,
    fitted_at  timestamptz not null
);
create index job_card_parts_card on job_card_parts (card_id, id);
create index job_card_parts_fitment on job_card_parts (fitment_id);
