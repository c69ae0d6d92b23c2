-- +goose Up

-- What stands instead of a row may be the same in all that makes a row the
-- same as another, such as a reading whose odometer was wrong: it gets the
-- next revision. The first row of its kind is of revision 0, so that an upload
-- that has it again meets it.
alter table thickness_readings add column revision integer not null default 0;
drop index thickness_readings_key;
create unique index thickness_readings_key on thickness_readings
    (vehicle_id, day, axle, part, side, face, mm, tripped, revision);

alter table odometer_readings
    add column revision integer not null default 0,
    drop constraint odometer_readings_vehicle_id_day_km_key,
    add constraint odometer_readings_key unique (vehicle_id, day, km, revision);

alter table fitments
    add column revision integer not null default 0,
    drop constraint fitments_vehicle_id_day_axle_part_side_face_key,
    add constraint fitments_key unique (vehicle_id, day, axle, part, side, face, revision);

-- Who did what to a row, and why. Append only.
create table corrections (
    id         bigint generated always as identity primary key,
    fleet_id   bigint not null,
    vehicle_id bigint not null references vehicles,
    record     text not null, -- reading, odometer, fitment
    record_id  bigint not null, -- in the table of such
    act        text not null, -- corrected, set aside, undone
    stands_id  bigint, -- of the row that stands instead, when corrected
    reason     text not null,
    done_by    text not null,
    done_at    timestamptz not null
);
create index corrections_vehicle on corrections (vehicle_id, id);

-- What the data of a vehicle show that a person should look at, worked out
-- anew with its forecasts. One that is no longer seen stays.
create table findings (
    id          bigint generated always as identity primary key,
    fleet_id    bigint not null,
    vehicle_id  bigint not null references vehicles,
    kind        text collate "C" not null,
    subject     text collate "C" not null, -- what it is about: the same again is the same finding
    urgency     integer not null, -- of its kind, 1 first
    axle        integer not null, -- 0: the vehicle as a whole
    part        text not null,
    side        text not null,
    face        text not null,
    seen        text not null, -- in words, with the figures
    advice      text not null, -- what to do
    source      text not null, -- ids of the published values, or what it rests on
    figure      double precision, -- how much of it there is, to compare with later
    record      text not null, -- row to correct: reading, odometer, fitment, or blank
    record_id   bigint,
    -- The change of parts that nobody recorded: between these days, probably then.
    after_day   date,
    before_day  date,
    fit_day     date,
    fit_km      double precision,
    state       text collate "C" not null, -- open, looked at, gone
    first_seen  date not null,
    last_seen   date not null,
    answer      text collate "C" not null, -- to a suggestion: confirmed, refused, or blank
    note        text not null,
    note_by     text not null,
    note_at     timestamptz,
    note_figure double precision, -- figure at the time of the note
    unique (vehicle_id, kind, subject)
);
create index findings_open on findings (state, urgency, id);
