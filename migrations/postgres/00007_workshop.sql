-- +goose Up

-- A depot without a row has the defaults of the program.
create table workshops (
    depot_id      bigint primary key references depots,
    fleet_id      bigint not null references fleets,
    bays          integer not null,
    overtime      double precision not null, -- hours a day's work may exceed its technician hours
    currency      text not null,
    labour_rate   double precision not null, -- per hour
    overtime_rate double precision not null, -- per hour
    visit_cost    double precision not null, -- of a vehicle coming in at all
    set_light     double precision not null, -- price of an axle's pads or linings where no part tells it
    set_heavy     double precision not null,
    past_light    double precision not null, -- damage expected where an axle comes in past its limit
    past_heavy    double precision not null,
    fluid_months  integer not null,
    changed_by    text not null,
    changed_at    timestamptz not null
);

create table workshop_days (
    depot_id    bigint not null references workshops,
    weekday     integer not null, -- 0 = Monday
    opens       integer not null, -- minutes after midnight on the depot's clock
    closes      integer not null, -- as opens: closed
    technicians double precision not null, -- hours of all of them
    primary key (depot_id, weekday)
);

create table workshop_hours (
    depot_id bigint not null references workshops,
    task     text collate "C" not null,
    light    double precision not null,
    heavy    double precision not null,
    primary key (depot_id, task)
);

create table closures (
    id          bigint generated always as identity primary key,
    fleet_id    bigint not null references fleets,
    depot_id    bigint not null references depots,
    first_day   date not null,
    last_day    date not null,
    technicians double precision not null, -- hours a day; 0 = closed
    reason      text not null
);
create index closures_depot on closures (depot_id, last_day);

create table stock_parts (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null references fleets,
    number     text collate "C" not null,
    number_key text collate "C" not null, -- lower case
    name       text not null,
    item       text not null, -- pads, rotors, linings, drums, sensor, hoses, calipers, fluid
    per_axle   integer not null,
    price      double precision,
    lead_days  integer not null,
    unique (fleet_id, number_key)
);

create table stock_fits (
    part_id    bigint not null references stock_parts,
    seq        integer not null,
    fleet_id   bigint not null,
    make       text not null, -- blank: any
    model      text not null, -- blank: any
    vehicle_id bigint references vehicles, -- null: any
    axle       integer not null, -- 0: any
    primary key (part_id, seq)
);

create table stock (
    part_id  bigint not null references stock_parts,
    depot_id bigint not null references depots,
    fleet_id bigint not null,
    quantity integer not null,
    primary key (part_id, depot_id)
);

-- When a vehicle cannot be spared.
create table absences (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    first_day  date, -- null: always
    last_day   date, -- null: for good
    weekdays   integer not null, -- bits from 1 = Monday; 0: every day
    reason     text not null
);
create index absences_vehicle on absences (vehicle_id);

-- Days on which a vehicle comes in anyway: a test, a service.
create table planned_visits (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    depot_id   bigint references depots, -- null: not one of ours
    day        date not null,
    what       text not null
);
create index planned_visits_vehicle on planned_visits (vehicle_id, day);

create table fluid_changes (
    fleet_id   bigint not null,
    vehicle_id bigint primary key references vehicles,
    day        date not null -- of the last change of brake fluid
);

-- A run of the planner over a fleet.
create table proposals (
    id       bigint generated always as identity primary key,
    fleet_id bigint not null references fleets,
    made_by  text not null,
    made_at  timestamptz not null,
    as_of    date not null,
    until    date not null, -- last day that was looked at
    risk     double precision not null, -- accepted
    cost     double precision not null, -- expected, of the plan
    bound    double precision not null, -- no plan costs less
    figures  text not null -- JSON
);
create index proposals_fleet on proposals (fleet_id, id);

-- What a proposal wants of a vehicle; the newest that is open counts.
create table proposal_visits (
    id          bigint generated always as identity primary key,
    proposal_id bigint not null references proposals,
    fleet_id    bigint not null,
    depot_id    bigint not null references depots,
    vehicle_id  bigint not null references vehicles,
    booking_id  bigint, -- that it would change
    advice      text not null, -- book, move, extend, withdraw, unplaced
    day         date, -- null where there is none
    bay         integer not null,
    starts      integer not null, -- minutes after midnight on the depot's clock
    minutes     integer not null,
    hours       double precision not null,
    cost        double precision,
    chance      double precision, -- of an axle being past its limit on that day
    book_by     date, -- earliest of its axles
    visit_id    bigint, -- planned visit it joins
    work        text not null, -- JSON
    why         text not null,
    remedy      text not null, -- of one that has no place
    changed     text not null, -- since the proposal before, and why
    state       text not null, -- open, accepted, declined, superseded
    decided_by  text not null,
    decided_at  timestamptz
);
create index proposal_visits_open on proposal_visits (depot_id, state, day, id);
create index proposal_visits_run on proposal_visits (proposal_id, id);
create index proposal_visits_vehicle on proposal_visits (vehicle_id, state);

create table bookings (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null references fleets,
    vehicle_id bigint not null references vehicles,
    depot_id   bigint not null references depots,
    day        date not null,
    bay        integer not null, -- from 1
    starts     integer not null, -- minutes after midnight on the depot's clock
    minutes    integer not null, -- in the bay
    hours      double precision not null, -- of technicians
    state      text not null, -- booked, done, missed, withdrawn
    kept       boolean not null, -- made or moved by a person
    note       text not null,
    cost       double precision, -- expected
    visit_id   bigint, -- planned visit it joins
    made_by    text not null,
    made_at    timestamptz not null,
    changed_at timestamptz not null,
    revision   integer not null,
    check (minutes > 0 and bay between 1 and 99 and starts >= 0 and starts + minutes <= 1440),
    -- One vehicle in a bay at a time, whatever the program thinks: depot, day,
    -- bay and minute make one number, so that the built-in ranges do.
    constraint bookings_bay exclude using gist (int8range(
        ((depot_id * 100000 + (day - date '1970-01-01')) * 100 + bay) * 1440 + starts,
        ((depot_id * 100000 + (day - date '1970-01-01')) * 100 + bay) * 1440 + starts + minutes) with &&)
        where (state = 'booked' or state = 'done')
);
create index bookings_day on bookings (depot_id, day);
create index bookings_vehicle on bookings (vehicle_id, day);
create unique index bookings_once on bookings (vehicle_id, day) where state = 'booked';

create table booking_work (
    booking_id  bigint not null references bookings,
    seq         integer not null,
    axle        integer not null, -- 0: the whole vehicle
    item        text not null,
    part_id     bigint references stock_parts, -- null: none is known to fit
    part_number text collate "C" not null,
    quantity    integer not null,
    reason      text not null,
    primary key (booking_id, seq)
);

-- Append only.
create table booking_changes (
    id         bigint generated always as identity primary key,
    booking_id bigint not null references bookings,
    at         timestamptz not null,
    changed_by text not null,
    what       text not null, -- booked, moved, changed, done, missed, withdrawn
    why        text not null,
    -- Where it was (null when it was just booked), and where it is.
    from_depot   bigint,
    from_day     date,
    from_bay     integer,
    from_starts  integer,
    from_minutes integer,
    to_depot     bigint not null,
    to_day       date not null,
    to_bay       integer not null,
    to_starts    integer not null,
    to_minutes   integer not null
);
create index booking_changes_booking on booking_changes (booking_id, id);
create index booking_changes_at on booking_changes (at, id);
