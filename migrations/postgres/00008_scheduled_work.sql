-- +goose Up

-- Scheduled jobs, each in each time zone it runs in.
create table job_times (
    job     text collate "C" not null,
    zone    text collate "C" not null, -- IANA name
    handled timestamptz not null, -- scheduled times up to here were seen to
    next    timestamptz, -- for people to read
    primary key (job, zone)
);

create table job_runs (
    id         bigint generated always as identity primary key,
    job        text collate "C" not null,
    zone       text collate "C" not null,
    due        timestamptz, -- scheduled time; null when a person asked for it
    attempt    integer not null, -- from 1
    asked_by   text not null, -- blank: the clock
    asked_at   timestamptz not null,
    started_at timestamptz,
    ended_at   timestamptz,
    state      text collate "C" not null, -- waiting, running, done, failed, panicked, overran, cut_short
    message    text not null, -- what it did, or why it did not
    unique (job, zone, due, attempt)
);
create index job_runs_job on job_runs (job, zone, id);
create unique index job_runs_waiting on job_runs (job, zone) where state = 'waiting';
create index job_runs_running on job_runs (job) where state = 'running';

-- People told by e-mail. Without places they see nothing.
create table recipients (
    id          bigint generated always as identity primary key,
    name        text not null,
    address     text not null,
    address_key text collate "C" not null, -- lower case
    role        text not null, -- manager, planner
    everything  boolean not null, -- all fleets
    added_by    text not null,
    added_at    timestamptz not null,
    stopped_by  text,
    stopped_at  timestamptz
);
create unique index recipients_address on recipients (address_key) where stopped_at is null;

create table recipient_places (
    recipient_id bigint not null references recipients,
    fleet_id     bigint not null references fleets,
    depot_id     bigint references depots -- null: the whole fleet
);
create index recipient_places_recipient on recipient_places (recipient_id);

-- One a day and person. Claimed before it is sent, so that nobody gets two.
create table digests (
    recipient_id bigint not null references recipients,
    day          date not null, -- on the clock of the person's depots
    since        timestamptz, -- it tells of what came after; null: the first one
    until        timestamptz not null, -- and up to here
    state        text not null, -- sending, sent, nothing, failed, refused, uncertain
    tries        integer not null,
    changed_at   timestamptz not null,
    message      text not null,
    primary key (recipient_id, day)
);

-- The axles each person was last told of as due.
create table digest_axles (
    recipient_id bigint not null references recipients,
    fleet_id     bigint not null,
    vehicle_id   bigint not null references vehicles,
    axle         integer not null,
    book_by      date,
    primary key (recipient_id, vehicle_id, axle)
);

-- Calendars at an address that is their only key.
create table calendar_feeds (
    id         bigint generated always as identity primary key,
    sha256     text collate "C" not null unique, -- of the secret, hex
    fleet_id   bigint not null references fleets,
    depot_id   bigint references depots,
    vehicle_id bigint references vehicles,
    made_by    text not null,
    made_at    timestamptz not null,
    revoked_by text,
    revoked_at timestamptz,
    read_on    date, -- last
    check ((depot_id is null) <> (vehicle_id is null))
);
