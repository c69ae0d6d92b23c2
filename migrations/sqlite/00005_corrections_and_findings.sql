-- +goose Up

-- What stands instead of a row may be the same in all that makes a row the
-- same as another, such as a reading whose odometer was wrong: it gets the
-- next revision. The first row of its kind is of revision 0, so that an upload
-- that has it again meets it.
alter table thickness_readings add column revision integer not null default 0;
drop index thickness_readings_key;
create unique index thickness_readings_key on thickness_readings
    (vehicle_id, day, axle, part, side, face, mm, tripped, revision);

-- SQLite cannot take a constraint off a table: it is made anew.
create table odometer_readings_new (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    km               real not null,
    upload_id        integer not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    integer references odometer_readings_new,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    revision         integer not null default 0,
    unique (vehicle_id, day, km, revision)
) strict;
insert into odometer_readings_new (
    id, fleet_id, vehicle_id, day, km, upload_id,
    superseded_by, set_aside_reason, set_aside_by, set_aside_at)
select
    id, fleet_id, vehicle_id, day, km, upload_id,
    superseded_by, set_aside_reason, set_aside_by, set_aside_at
from odometer_readings;
drop table odometer_readings;
alter table odometer_readings_new rename to odometer_readings;

create table fitments_new (
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
    superseded_by    integer references fitments_new,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    revision         integer not null default 0,
    unique (vehicle_id, day, axle, part, side, face, revision)
) strict;
insert into fitments_new (
    id, fleet_id, vehicle_id, day, axle, part, side, face,
    odometer_km, mm, upload_id, line,
    superseded_by, set_aside_reason, set_aside_by, set_aside_at)
select
    id, fleet_id, vehicle_id, day, axle, part, side, face,
    odometer_km, mm, upload_id, line,
    superseded_by, set_aside_reason, set_aside_by, set_aside_at
from fitments;
drop table fitments;
alter table fitments_new rename to fitments;

-- Who did what to a row, and why. Append only.
create table corrections (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    record     text not null, -- reading, odometer, fitment
    record_id  integer not null, -- in the table of such
    act        text not null, -- corrected, set aside, undone
    stands_id  integer, -- of the row that stands instead, when corrected
    reason     text not null,
    done_by    text not null,
    done_at    text not null
) strict;
create index corrections_vehicle on corrections (vehicle_id, id);

-- What the data of a vehicle show that a person should look at, worked out
-- anew with its forecasts. One that is no longer seen stays.
create table findings (
    id          integer primary key,
    fleet_id    integer not null,
    vehicle_id  integer not null references vehicles,
    kind        text not null,
    subject     text not null, -- what it is about: the same again is the same finding
    urgency     integer not null, -- of its kind, 1 first
    axle        integer not null, -- 0: the vehicle as a whole
    part        text not null,
    side        text not null,
    face        text not null,
    seen        text not null, -- in words, with the figures
    advice      text not null, -- what to do
    source      text not null, -- ids of the published values, or what it rests on
    figure      real, -- how much of it there is, to compare with later
    record      text not null, -- row to correct: reading, odometer, fitment, or blank
    record_id   integer,
    -- The change of parts that nobody recorded: between these days, probably then.
    after_day   text,
    before_day  text,
    fit_day     text,
    fit_km      real,
    state       text not null, -- open, looked at, gone
    first_seen  text not null,
    last_seen   text not null,
    answer      text not null, -- to a suggestion: confirmed, refused, or blank
    note        text not null,
    note_by     text not null,
    note_at     text,
    note_figure real, -- figure at the time of the note
    unique (vehicle_id, kind, subject)
) strict;
create index findings_open on findings (state, urgency, id);
