-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

create table step_plans (
    fleet_id integer not null references fleets,
    section  text not null,
    version  integer not null, -- from 1
    steps    text not null, -- JSON
    made_by  text not null,
    made_at  text not null,
    primary key (fleet_id, section, version)
) strict;

create table makers_values (
    id         integer primary key,
    fleet_id   integer not null references fleets,
    make       text not null, -- blank: any
    model      text not null, -- blank: any
    axle       integer not null, -- 0: any
    measure    text not null, -- name of a measure of a step
    low        real,
    high       real,
    unit       text not null,
    source     text not null, -- where it was read
    changed_by text not null,
    changed_at text not null
) strict;
create unique index makers_values_key on makers_values (fleet_id, make, model, axle, measure);

create table job_cards (
    id          integer primary key,
    fleet_id    integer not null references fleets,
    vehicle_id  integer not null references vehicles,
    depot_id    integer not null references depots,
    booking_id  integer references bookings, -- null: of none
    day         text not null,
    odometer_km real,
    work        text not null, -- JSON
    state       text not null, -- open, passed, not passed, dropped
    opened_by   text not null,
    opened_at   text not null,
    closed_by   text not null,
    closed_at   text,
    note        text not null
) strict;
create index job_cards_vehicle on job_cards (vehicle_id, id);
create index job_cards_open on job_cards (depot_id, state, day);
create unique index job_cards_booking on job_cards (booking_id) where state <> 'dropped';

create table job_card_steps (
    card_id integer not null references job_cards,
    seq     integer not null,
    section text not null,
    axle    integer not null, -- 0: the whole vehicle
    step    text not null, -- JSON, as it was when the card was made
    primary key (card_id, seq)
) strict;

create table job_card_entries (
    id         integer primary key,
    card_id    integer not null,
    seq        integer not null,
    state      text not null, -- done, failed, skipped
    noted      text not null, -- JSON: the measures' values, null for none
    note       text not null,
    entered_by text not null,
    entered_at text not null,
    key        text not null, -- the sender's own name for it; blank: none
    foreign key (card_id, seq) references job_card_steps (card_id, seq)
) strict;
create index job_card_entries_card on job_card_entries (card_id, seq, id);
create unique index job_card_entries_key on job_card_entries (card_id, seq, key) where key <> '';

create table job_card_parts (
    id         integer primary key,
    card_id    integer not null references job_cards,
    axle       integer not null,
    part       text not null,
    side       text not null, -- blank: both
    number     text not null,
    batch      text not null,
    mm         real not null, -- when new
    measured   integer not null, -- otherwise nominal
    fitment_id integer not null references fitments,
    fitted_by  text not null,
    fitted_at  text not null
) strict;
create index job_card_parts_card on job_card_parts (card_id, id);
create index job_card_parts_fitment on job_card_parts (fitment_id);
