-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

-- A depot without a row has the defaults of the program.
create table workshops (
    depot_id      integer primary key references depots,
    fleet_id      integer not null references fleets,
    bays          integer not null,
    overtime      real not null, -- hours a day's work may exceed its technician hours
    currency      text not null,
    labour_rate   real not null, -- per hour
    overtime_rate real not null, -- per hour
    visit_cost    real not null, -- of a vehicle coming in at all
    set_light     real not null, -- price of an axle's pads or linings where no part tells it
    set_heavy     real not null,
    past_light    real not null, -- damage expected where an axle comes in past its limit
    past_heavy    real not null,
    fluid_months  integer not null,
    changed_by    text not null,
    changed_at    text not null
) strict;

create table workshop_days (
    depot_id    integer not null references workshops,
    weekday     integer not null, -- 0 = Monday
    opens       integer not null, -- minutes after midnight on the depot's clock
    closes      integer not null, -- as opens: closed
    technicians real not null, -- hours of all of them
    primary key (depot_id, weekday)
) strict;

create table workshop_hours (
    depot_id integer not null references workshops,
    task     text not null,
    light    real not null,
    heavy    real not null,
    primary key (depot_id, task)
) strict;

create table closures (
    id          integer primary key,
    fleet_id    integer not null references fleets,
    depot_id    integer not null references depots,
    first_day   text not null,
    last_day    text not null,
    technicians real not null, -- hours a day; 0 = closed
    reason      text not null
) strict;
create index closures_depot on closures (depot_id, last_day);

create table stock_parts (
    id         integer primary key,
    fleet_id   integer not null references fleets,
    number     text not null,
    number_key text not null, -- lower case
    name       text not null,
    item       text not null, -- pads, rotors, linings, drums, sensor, hoses, calipers, fluid
    per_axle   integer not null,
    price      real,
    lead_days  integer not null,
    unique (fleet_id, number_key)
) strict;

create table stock_fits (
    part_id    integer not null references stock_parts,
    seq        integer not null,
    fleet_id   integer not null,
    make       text not null, -- blank: any
    model      text not null, -- blank: any
    vehicle_id integer references vehicles, -- null: any
    axle       integer not null, -- 0: any
    primary key (part_id, seq)
) strict;

create table stock (
    part_id  integer not null references stock_parts,
    depot_id integer not null references depots,
    fleet_id integer not null,
    quantity integer not null,
    primary key (part_id, depot_id)
) strict;

-- When a vehicle cannot be spared.
create table absences (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    first_day  text, -- null: always
    last_day   text, -- null: for good
    weekdays   integer not null, -- bits from 1 = Monday; 0: every day
    reason     text not null
) strict;
create index absences_vehicle on absences (vehicle_id);

-- Days on which a vehicle comes in anyway: a test, a service.
create table planned_visits (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    depot_id   integer references depots, -- null: not one of ours
    day        text not null,
    what       text not null
) strict;
create index planned_visits_vehicle on planned_visits (vehicle_id, day);

create table fluid_changes (
    fleet_id   integer not null,
    vehicle_id integer primary key references vehicles,
    day        text not null -- of the last change of brake fluid
) strict;

-- A run of the planner over a fleet.
create table proposals (
    id       integer primary key,
    fleet_id integer not null references fleets,
    made_by  text not null,
    made_at  text not null,
    as_of    text not null,
    until    text not null, -- last day that was looked at
    risk     real not null, -- accepted
    cost     real not null, -- expected, of the plan
    bound    real not null, -- no plan costs less
    figures  text not null -- JSON
) strict;
create index proposals_fleet on proposals (fleet_id, id);

-- What a proposal wants of a vehicle; the newest that is open counts.
create table proposal_visits (
    id          integer primary key,
    proposal_id integer not null references proposals,
    fleet_id    integer not null,
    depot_id    integer not null references depots,
    vehicle_id  integer not null references vehicles,
    booking_id  integer, -- that it would change
    advice      text not null, -- book, move, extend, withdraw, unplaced
    day         text, -- null where there is none
    bay         integer not null,
    starts      integer not null, -- minutes after midnight on the depot's clock
    minutes     integer not null,
    hours       real not null,
    cost        real,
    chance      real, -- of an axle being past its limit on that day
    book_by     text, -- earliest of its axles
    visit_id    integer, -- planned visit it joins
    work        text not null, -- JSON
    why         text not null,
    remedy      text not null, -- of one that has no place
    changed     text not null, -- since the proposal before, and why
    state       text not null, -- open, accepted, declined, superseded
    decided_by  text not null,
    decided_at  text
) strict;
create index proposal_visits_open on proposal_visits (depot_id, state, day, id);
create index proposal_visits_run on proposal_visits (proposal_id, id);
create index proposal_visits_vehicle on proposal_visits (vehicle_id, state);

create table bookings (
    id         integer primary key,
    fleet_id   integer not null references fleets,
    vehicle_id integer not null references vehicles,
    depot_id   integer not null references depots,
    day        text not null,
    bay        integer not null, -- from 1
    starts     integer not null, -- minutes after midnight on the depot's clock
    minutes    integer not null, -- in the bay
    hours      real not null, -- of technicians
    state      text not null, -- booked, done, missed, withdrawn
    kept       integer not null, -- made or moved by a person
    note       text not null,
    cost       real, -- expected
    visit_id   integer, -- planned visit it joins
    made_by    text not null,
    made_at    text not null,
    changed_at text not null,
    revision   integer not null,
    check (minutes > 0 and bay between 1 and 99 and starts >= 0 and starts + minutes <= 1440)
) strict;
create index bookings_day on bookings (depot_id, day);
create index bookings_vehicle on bookings (vehicle_id, day);
create unique index bookings_once on bookings (vehicle_id, day) where state = 'booked';

-- One vehicle in a bay at a time, whatever the program thinks.
-- +goose StatementBegin
create trigger bookings_bay_insert before insert on bookings
when new.state in ('booked', 'done') and exists (
    select 1 from bookings b
    where b.depot_id = new.depot_id and b.day = new.day and b.bay = new.bay and b.state in ('booked', 'done')
        and b.starts < new.starts + new.minutes and new.starts < b.starts + b.minutes)
begin
    select raise(abort, 'bookings_bay');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger bookings_bay_update before update on bookings
when new.state in ('booked', 'done') and exists (
    select 1 from bookings b
    where b.id <> new.id and b.depot_id = new.depot_id and b.day = new.day and b.bay = new.bay and b.state in ('booked', 'done')
        and b.starts < new.starts + new.minutes and new.starts < b.starts + b.minutes)
begin
    select raise(abort, 'bookings_bay');
end;
-- +goose StatementEnd

create table booking_work (
    booking_id  integer not null references bookings,
    seq         integer not null,
    axle        integer not null, -- 0: the whole vehicle
    item        text not null,
    part_id     integer references stock_parts, -- null: none is known to fit
    part_number text not null,
    quantity    integer not null,
    reason      text not null,
    primary key (booking_id, seq)
) strict;

-- Append only.
create table booking_changes (
    id         integer primary key,
    booking_id integer not null references bookings,
    at         text not null,
    changed_by text not null,
    what       text not null, -- booked, moved, changed, done, missed, withdrawn
    why        text not null,
    -- Where it was (null when it was just booked), and where it is.
    from_depot   integer,
    from_day     text,
    from_bay     integer,
    from_starts  integer,
    from_minutes integer,
    to_depot     integer not null,
    to_day       text not null,
    to_bay       integer not null,
    to_starts    integer not null,
    to_minutes   integer not null
) strict;
create index booking_changes_booking on booking_changes (booking_id, id);
create index booking_changes_at on booking_changes (at, id);
