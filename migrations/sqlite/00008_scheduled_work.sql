-- The same tables as in ../postgres, and one more; the reasons are there.

-- +goose Up

-- Scheduled jobs, each in each time zone it runs in.
create table job_times (
    job     text not null,
    zone    text not null, -- IANA name
    handled text not null, -- scheduled times up to here were seen to
    next    text, -- for people to read
    primary key (job, zone)
) strict;

create table job_runs (
    id         integer primary key,
    job        text not null,
    zone       text not null,
    due        text, -- scheduled time; null when a person asked for it
    attempt    integer not null, -- from 1
    asked_by   text not null, -- blank: the clock
    asked_at   text not null,
    started_at text,
    ended_at   text,
    state      text not null, -- waiting, running, done, failed, panicked, overran, cut_short
    message    text not null, -- what it did, or why it did not
    unique (job, zone, due, attempt)
) strict;
create index job_runs_job on job_runs (job, zone, id);
create unique index job_runs_waiting on job_runs (job, zone) where state = 'waiting';
create index job_runs_running on job_runs (job) where state = 'running';

-- PostgreSQL has locks that end with the connection; here a process that
-- works holds a row, and renews it while it lives.
create table job_locks (
    name   text primary key,
    holder text not null,
    until  text not null
) strict;

-- People told by e-mail. Without places they see nothing.
create table recipients (
    id          integer primary key,
    name        text not null,
    address     text not null,
    address_key text not null, -- lower case
    role        text not null, -- manager, planner
    everything  integer not null, -- all fleets
    added_by    text not null,
    added_at    text not null,
    stopped_by  text,
    stopped_at  text
) strict;
create unique index recipients_address on recipients (address_key) where stopped_at is null;

create table recipient_places (
    recipient_id integer not null references recipients,
    fleet_id     integer not null references fleets,
    depot_id     integer references depots -- null: the whole fleet
) strict;
create index recipient_places_recipient on recipient_places (recipient_id);

-- One a day and person. Claimed before it is sent, so that nobody gets two.
create table digests (
    recipient_id integer not null references recipients,
    day          text not null, -- on the clock of the person's depots
    since        text, -- it tells of what came after; null: the first one
    until        text not null, -- and up to here
    state        text not null, -- sending, sent, nothing, failed, refused, uncertain
    tries        integer not null,
    changed_at   text not null,
    message      text not null,
    primary key (recipient_id, day)
) strict;

-- The axles each person was last told of as due.
create table digest_axles (
    recipient_id integer not null references recipients,
    fleet_id     integer not null,
    vehicle_id   integer not null references vehicles,
    axle         integer not null,
    book_by      text,
    primary key (recipient_id, vehicle_id, axle)
) strict;

-- Calendars at an address that is their only key.
create table calendar_feeds (
    id         integer primary key,
    sha256     text not null unique, -- of the secret, hex
    fleet_id   integer not null references fleets,
    depot_id   integer references depots,
    vehicle_id integer references vehicles,
    made_by    text not null,
    made_at    text not null,
    revoked_by text,
    revoked_at text,
    read_on    text, -- last
    check ((depot_id is null) <> (vehicle_id is null))
) strict;
