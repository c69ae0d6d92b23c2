-- The present schema, written by the test of internal/store. Do not edit.

CREATE TABLE absences (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    first_day  text, -- null: always
    last_day   text, -- null: for good
    weekdays   integer not null, -- bits from 1 = Monday; 0: every day
    reason     text not null
) strict;

CREATE UNIQUE INDEX absences_once on absences
    (vehicle_id, coalesce(first_day, ''), coalesce(last_day, ''), weekdays, reason);

CREATE TABLE accounts (
    id            integer primary key,
    name          text not null,
    email         text not null,
    email_key     text not null, -- lower case
    password      text not null, -- argon2id; blank: none yet
    added_by      text not null,
    added_at      text not null,
    signed_in_at  text, -- last
    stopped_by    text,
    stopped_at    text
, distance text not null default '', thickness text not null default '', days text not null default '', time_zone text not null default '', narrow integer not null default 0) strict;

CREATE UNIQUE INDEX accounts_email on accounts (email_key) where stopped_at is null;

CREATE TABLE api_tokens (
    id         integer primary key,
    sha256     text not null unique,
    account_id integer not null references accounts,
    name       text not null,
    rights     text not null,
    made_at    text not null,
    until      text not null,
    used_at    text, -- last
    ended_by   text,
    ended_at   text
) strict;

CREATE INDEX api_tokens_account on api_tokens (account_id);

CREATE TRIGGER audit_log_no_delete before delete on audit_log
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;

CREATE TRIGGER audit_log_no_replace before insert on audit_log
when exists (select 1 from audit_log where id = new.id)
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;

CREATE TRIGGER audit_log_no_update before update on audit_log
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;

CREATE TABLE audit_log (
    id         integer primary key,
    at         text not null,
    done_by    text not null, -- name then; blank: the program itself
    account_id integer references accounts, -- null: not somebody signed in
    token_id   integer references api_tokens, -- null: not a program of theirs
    via        text not null, -- page, api, command, work
    origin     text not null, -- network address, or user of the machine
    request    text not null, -- id of the request, as in the program's log
    act        text not null,
    record     text not null, -- kind of what was changed
    record_id  integer, -- null: there is one of it, or there are several
    fleet_id   integer references fleets, -- null: it belongs to none
    depot_id   integer references depots, -- null: to the fleet, or to several depots
    detail     text not null
) strict;

CREATE INDEX audit_log_at on audit_log (at);

CREATE INDEX audit_log_depot on audit_log (depot_id, id) where depot_id is not null;

CREATE INDEX audit_log_done_by on audit_log (done_by, id);

CREATE INDEX audit_log_fleet on audit_log (fleet_id, id) where fleet_id is not null;

CREATE INDEX audit_log_record on audit_log (record, record_id, id);

CREATE TABLE axle_forecasts (
    fleet_id            integer not null,
    depot_id            integer not null, -- the vehicle's, repeated for the list's filter
    vehicle_id          integer not null references vehicles,
    axle                integer not null,
    model               text not null,
    as_of               text not null,
    odometer_km         real, -- estimated on as_of
    km_per_day          real,
    readings            integer not null,
    book_by             text,
    risk                real not null, -- accepted with book_by
    past_limit          integer not null,
    -- The position most likely to be first; blank when there is none.
    limiting            integer not null, -- seq in position_forecasts, or -1
    part                text not null,
    side                text not null,
    face                text not null,
    thickness_mm        real,
    new_mm              real,
    limit_mm            real,
    rate                real, -- mm per 10,000 km
    km_left             real,
    -- Quantiles of the limit date.
    p05                 text,
    p10                 text,
    p50                 text,
    p90                 text,
    p95                 text,
    width80_days        real,
    width80_if_measured real,
    warnings            text not null, -- JSON
    basis               text not null, -- JSON
    -- What the list is ordered by, ascending; never null, the unknown last.
    by_due              text not null, -- book_by, or as_of when past the limit and that is earlier
    by_limit            text not null,
    by_km               real not null,
    by_thickness        real not null,
    by_narrowing        real not null, -- minus the days one more inspection would take off
    km_quantiles        blob,
    day_quantiles       blob, written integer not null default 0,
    primary key (vehicle_id, axle)
) strict;

CREATE INDEX axle_forecasts_depot_due on axle_forecasts (depot_id, by_due, vehicle_id, axle);

CREATE INDEX axle_forecasts_due on axle_forecasts (by_due, vehicle_id, axle);

CREATE INDEX axle_forecasts_fleet_due on axle_forecasts (fleet_id, by_due, vehicle_id, axle);

CREATE INDEX axle_forecasts_written on axle_forecasts (written);

CREATE TABLE axle_limits (
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

CREATE INDEX axle_limits_part on axle_limits (vehicle_id, axle, part, id);

CREATE TABLE axle_specs (
    fleet_id   integer not null,
    vehicle_id integer not null,
    axle       integer not null,
    part       text not null, -- pad, rotor, lining, drum
    new_mm     real not null,
    limit_mm   real not null,
    source     text not null, -- "maker" or the id of a published value
    primary key (vehicle_id, axle, part),
    foreign key (vehicle_id, axle) references axles (vehicle_id, number)
) strict;

CREATE TABLE axles (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    number     integer not null, -- 1 = front
    brake      text not null, -- disc, drum
    unique (vehicle_id, number)
) strict;

CREATE TABLE booking_changes (
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

CREATE INDEX booking_changes_at on booking_changes (at, id);

CREATE INDEX booking_changes_booking on booking_changes (booking_id, id);

CREATE INDEX booking_changes_left on booking_changes (from_depot, at);

CREATE TRIGGER plan_written_booking_work_delete after delete on booking_work
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_booking_work_insert after insert on booking_work
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_booking_work_update after update on booking_work
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE booking_work (
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

CREATE TRIGGER bookings_bay_insert before insert on bookings
when new.state in ('booked', 'done') and exists (
    select 1 from bookings b
    where b.depot_id = new.depot_id and b.day = new.day and b.bay = new.bay and b.state in ('booked', 'done')
        and b.starts < new.starts + new.minutes and new.starts < b.starts + b.minutes)
begin
    select raise(abort, 'bookings_bay');
end;

CREATE TRIGGER bookings_bay_update before update on bookings
when new.state in ('booked', 'done') and exists (
    select 1 from bookings b
    where b.id <> new.id and b.depot_id = new.depot_id and b.day = new.day and b.bay = new.bay and b.state in ('booked', 'done')
        and b.starts < new.starts + new.minutes and new.starts < b.starts + b.minutes)
begin
    select raise(abort, 'bookings_bay');
end;

CREATE TRIGGER plan_written_bookings_delete after delete on bookings
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_bookings_insert after insert on bookings
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_bookings_update after update on bookings
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE bookings (
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

CREATE INDEX bookings_day on bookings (depot_id, day);

CREATE UNIQUE INDEX bookings_once on bookings (vehicle_id, day) where state = 'booked';

CREATE INDEX bookings_time on bookings (day, depot_id, starts, id);

CREATE INDEX bookings_vehicle on bookings (vehicle_id, day);

CREATE TABLE brake_efforts (
    test_id  integer not null references brake_tests,
    fleet_id integer not null,
    axle     integer not null,
    side     text not null,
    force_n  real not null,
    locked   integer not null,
    primary key (test_id, axle, side)
) strict;

CREATE TABLE brake_test_rejudgements (
    test_id   integer not null references brake_tests,
    number    integer not null, -- 1 = the first after brake_test_verdicts; the greatest is in force
    fleet_id  integer not null,
    rule_set  text not null,
    verdict   text not null, -- also: not judged
    judgement text not null,
    facts     text not null,
    why       text not null, -- what was corrected, in words
    judged_at text not null,
    primary key (test_id, number)
) strict;

CREATE TABLE brake_test_verdicts (
    test_id   integer not null primary key references brake_tests,
    fleet_id  integer not null,
    rule_set  text not null, -- id
    verdict   text not null, -- meets, unclear, fails, dangerous
    judgement text not null, -- JSON: each value checked, its limit and where that is published
    judged_at text not null
, facts text) strict;

CREATE TABLE brake_tests (
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

CREATE TABLE calendar_feeds (
    id         integer primary key,
    sha256     text not null unique, -- of the secret, hex
    fleet_id   integer not null references fleets,
    depot_id   integer references depots,
    vehicle_id integer references vehicles,
    made_by    text not null,
    made_at    text not null,
    revoked_by text,
    revoked_at text,
    read_on    text, account_id integer references accounts, -- last
    check ((depot_id is null) <> (vehicle_id is null))
) strict;

CREATE TABLE closures (
    id          integer primary key,
    fleet_id    integer not null references fleets,
    depot_id    integer not null references depots,
    first_day   text not null,
    last_day    text not null,
    technicians real not null, -- hours a day; 0 = closed
    reason      text not null
) strict;

CREATE UNIQUE INDEX closures_once on closures (depot_id, last_day, first_day, technicians, reason);

CREATE TABLE cluster_swaps (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    old_km           real not null,
    new_km           real not null,
    upload_id        integer not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    integer references cluster_swaps,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    unique (vehicle_id, day, old_km, new_km)
) strict;

CREATE TABLE corrections (
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

CREATE INDEX corrections_vehicle on corrections (vehicle_id, id);

CREATE TRIGGER plan_written_depots_delete after delete on depots
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_depots_insert after insert on depots
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_depots_update after update on depots
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE depots (
    id        integer primary key,
    fleet_id  integer not null references fleets,
    name      text not null,
    name_key  text not null, -- lower case
    time_zone text not null, -- IANA name
    unique (fleet_id, name_key)
) strict;

CREATE TABLE digest_axles (
    recipient_id integer not null references recipients,
    fleet_id     integer not null,
    vehicle_id   integer not null references vehicles,
    axle         integer not null,
    book_by      text,
    primary key (recipient_id, vehicle_id, axle)
) strict;

CREATE TABLE digests (
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

CREATE TABLE findings (
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

CREATE INDEX findings_open on findings (state, urgency, id);

CREATE TABLE "fitments" (
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
    superseded_by    integer references "fitments",
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    revision         integer not null default 0,
    unique (vehicle_id, day, axle, part, side, face, revision)
) strict;

CREATE TRIGGER plan_written_fleets_delete after delete on fleets
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_fleets_insert after insert on fleets
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_fleets_update after update on fleets
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE fleets (
    id       integer primary key,
    name     text not null,
    name_key text not null unique -- lower case
, rule_set text not null default '') strict;

CREATE TABLE fluid_changes (
    fleet_id   integer not null,
    vehicle_id integer primary key references vehicles,
    day        text not null -- of the last change of brake fluid
) strict;

CREATE TABLE forecast_log (
    fleet_id    integer not null,
    vehicle_id  integer not null references vehicles,
    axle        integer not null,
    as_of       text not null,
    logged_at   text not null,
    model       text not null,
    readings    integer not null,
    odometer_km real,
    book_by     text,
    risk        real not null,
    past_limit  integer not null,
    -- Quantiles of the limit: days since 1970-01-01 and odometer km.
    day_p025 real,
    day_p05  real,
    day_p10  real,
    day_p25  real,
    day_p50  real,
    day_p75  real,
    day_p90  real,
    day_p95  real,
    day_p975 real,
    km_p025  real,
    km_p05   real,
    km_p10   real,
    km_p25   real,
    km_p50   real,
    km_p75   real,
    km_p90   real,
    km_p95   real,
    km_p975  real, part text, thickness_mm real, new_mm real, limit_mm real, rate real,
    primary key (vehicle_id, axle, as_of)
) strict;

CREATE TABLE forecast_positions (
    vehicle_id    integer not null,
    axle          integer not null,
    positions     text not null, -- JSON: an array of each, as below; axle_forecasts.limiting counts in it
    -- Of all positions, one behind the other, each as in axle_forecasts; all bits are set
    -- where a position's are not known.
    km_quantiles  blob not null,
    day_quantiles blob not null,
    primary key (vehicle_id, axle)
) strict;

CREATE TABLE grants (
    id         integer primary key,
    account_id integer not null references accounts,
    role       text not null, -- manager, planner, technician, admin
    fleet_id   integer references fleets, -- null: everything
    depot_id   integer references depots, -- null: the whole fleet
    given_by   text not null,
    given_at   text not null,
    ended_by   text,
    ended_at   text,
    check (depot_id is null or fleet_id is not null)
) strict;

CREATE INDEX grants_account on grants (account_id) where ended_at is null;

CREATE TABLE inspection_conditions (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    inspection_id    integer not null references inspections,
    day              text not null, -- the inspection's, repeated for the key
    axle             integer not null, -- 0: the whole vehicle
    side             text not null, -- blank: both
    kind             text not null, -- contaminated, cracked, tapered, glazed, sensor tripped, not measured, noted
    note             text not null,
    note_key         text not null, -- hash of the note, blank for none
    upload_id        integer not null references uploads,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text, superseded_by integer references inspection_conditions,
    constraint inspection_conditions_key unique (vehicle_id, day, axle, side, kind, note_key)
) strict;

CREATE TABLE inspections (
    id          integer primary key,
    fleet_id    integer not null,
    vehicle_id  integer not null references vehicles,
    day         text not null,
    odometer_km real,
    technician  text not null
) strict;

CREATE UNIQUE INDEX inspections_visit on inspections (vehicle_id, day, coalesce(odometer_km, -1), technician);

CREATE TABLE job_card_entries (
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

CREATE INDEX job_card_entries_card on job_card_entries (card_id, seq, id);

CREATE UNIQUE INDEX job_card_entries_key on job_card_entries (card_id, seq, key) where key <> '';

CREATE TABLE job_card_parts (
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
, stock_id integer references job_card_stock) strict;

CREATE INDEX job_card_parts_card on job_card_parts (card_id, id);

CREATE INDEX job_card_parts_fitment on job_card_parts (fitment_id);

CREATE INDEX job_card_parts_stock on job_card_parts (stock_id) where stock_id is not null;

CREATE TABLE job_card_steps (
    card_id integer not null references job_cards,
    seq     integer not null,
    section text not null,
    axle    integer not null, -- 0: the whole vehicle
    step    text not null, -- JSON, as it was when the card was made
    primary key (card_id, seq)
) strict;

CREATE TABLE job_card_stock (
    id          integer primary key,
    card_id     integer not null references job_cards,
    depot_id    integer not null references depots,
    axle        integer not null,
    part_id     integer not null references stock_parts,
    used        integer not null, -- by the work
    quantity    integer not null, -- of them, what lay on the shelf and was taken the last time
    counts      integer not null, -- the shelf's, when the card was closed
    taken_at    text not null,
    put_back_at text -- null: it is off the shelf
) strict;

CREATE TABLE job_cards (
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

CREATE UNIQUE INDEX job_cards_booking on job_cards (booking_id) where state <> 'dropped';

CREATE INDEX job_cards_open on job_cards (depot_id, state, day);

CREATE INDEX job_cards_vehicle on job_cards (vehicle_id, id);

CREATE TABLE job_locks (
    name   text primary key,
    holder text not null,
    until  text not null
) strict;

CREATE TABLE job_runs (
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

CREATE INDEX job_runs_job on job_runs (job, zone, id);

CREATE INDEX job_runs_running on job_runs (job) where state = 'running';

CREATE UNIQUE INDEX job_runs_waiting on job_runs (job, zone) where state = 'waiting';

CREATE TABLE job_times (
    job     text not null,
    zone    text not null, -- IANA name
    handled text not null, -- scheduled times up to here were seen to
    next    text, -- for people to read
    primary key (job, zone)
) strict;

CREATE TABLE kept_file_parts (
    file_id integer not null references kept_files on delete cascade,
    seq     integer not null,
    bytes   blob not null,
    primary key (file_id, seq)
) strict;

CREATE TABLE kept_files (
    id         integer primary key autoincrement, -- never another file's: pages go on showing it
    sha256     text not null, -- of its bytes, hex
    name       text not null, -- file name as sent
    kind       text not null, -- as asked for; blank = found by its header
    date_order text not null, -- as asked for
    sent_by    text not null,
    scope      text not null, -- what the sender may change, JSON
    bytes      integer not null,
    sent_at    text not null,
    expires_at text not null,
    state      text not null, -- checking, checked, taking, taken, done, unreadable, failed
    read_bytes integer not null, -- of the file, by the present work
    read_rows  integer not null,
    report     text not null, -- what the check found, JSON; blank before
    fault      text not null, -- why it cannot be read, or what went wrong; blank when nothing did
    upload_id  integer references uploads,
    unique (sha256, sent_by, kind, date_order)
) strict;

CREATE INDEX kept_files_expiry on kept_files (expires_at);

CREATE TABLE links (
    sha256     text primary key,
    account_id integer not null references accounts,
    made_by    text not null,
    made_at    text not null,
    until      text not null
, whole integer not null default 0) strict;

CREATE INDEX links_account on links (account_id);

CREATE TABLE makers_values (
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

CREATE UNIQUE INDEX makers_values_key on makers_values (fleet_id, make, model, axle, measure);

CREATE TABLE model_parameters (
    id          integer primary key,
    model       text not null,
    fitted_at   text not null,
    as_of       text not null,
    learned     text not null, -- JSON
    diagnostics text not null -- JSON
) strict;

CREATE INDEX model_parameters_model on model_parameters (model, id);

CREATE TABLE "odometer_readings" (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null references vehicles,
    day              text not null,
    km               real not null,
    upload_id        integer not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    integer references "odometer_readings",
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text,
    revision         integer not null default 0,
    unique (vehicle_id, day, km, revision)
) strict;

CREATE TABLE openid_subjects (
    issuer     text not null,
    subject    text not null,
    account_id integer not null references accounts,
    bound_at   text not null,
    primary key (issuer, subject)
) strict;

CREATE UNIQUE INDEX openid_subjects_account on openid_subjects (account_id, issuer);

CREATE TABLE own_thresholds (
    id       integer primary key,
    fleet_id integer not null references fleets,
    value_id text not null, -- of the published value
    x        real, -- in its unit inside; null: the published value again
    why      text not null,
    done_by  text not null,
    done_at  text not null
) strict;

CREATE INDEX own_thresholds_fleet on own_thresholds (fleet_id, id);

CREATE TABLE plan_written (
    one  integer primary key check (one = 1),
    mark integer not null
) strict;

CREATE TABLE planned_visits (
    id         integer primary key,
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    depot_id   integer references depots, -- null: not one of ours
    day        text not null,
    what       text not null
) strict;

CREATE UNIQUE INDEX planned_visits_once on planned_visits (vehicle_id, day, coalesce(depot_id, 0), what);

CREATE TRIGGER plan_written_proposal_visits_delete after delete on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_proposal_visits_insert after insert on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_proposal_visits_update after update on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE proposal_visits (
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
, decided_why text not null default '') strict;

CREATE INDEX proposal_visits_days on proposal_visits (state, coalesce(day, book_by, CAST('9999-12-31' AS text)), depot_id, starts, id);

CREATE INDEX proposal_visits_open on proposal_visits (depot_id, state, coalesce(day, book_by, CAST('9999-12-31' AS text)), starts, id);

CREATE INDEX proposal_visits_run on proposal_visits (proposal_id, coalesce(day, book_by, CAST('9999-12-31' AS text)), depot_id, starts, id);

CREATE INDEX proposal_visits_vehicle on proposal_visits (vehicle_id, state);

CREATE TABLE proposals (
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

CREATE INDEX proposals_fleet on proposals (fleet_id, id);

CREATE TABLE recipient_places (
    recipient_id integer not null references recipients,
    fleet_id     integer not null references fleets,
    depot_id     integer references depots -- null: the whole fleet
) strict;

CREATE INDEX recipient_places_recipient on recipient_places (recipient_id);

CREATE TABLE recipients (
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

CREATE UNIQUE INDEX recipients_address on recipients (address_key) where stopped_at is null;

CREATE TABLE recovery_codes (
    sha256     text primary key,
    account_id integer not null references accounts
) strict;

CREATE INDEX recovery_codes_account on recovery_codes (account_id);

CREATE TABLE refit_shares (
    refit_id   integer not null references refits on delete cascade,
    number     integer not null, -- from 0, in order of vehicles
    first_id   integer not null,
    last_id    integer not null,
    vehicles   integer not null, -- in the range
    done       integer not null, -- steps
    holder     text, -- free once the lease is over
    until      text,
    worker     text not null, -- process that took it last, for people
    tries      integer not null, -- in this step
    through    integer not null, -- forecasts are stored of vehicles up to this one
    forecast   integer not null, -- vehicles
    axles      integer not null, -- of them
    heard      blob, -- in this step, until it is joined
    primary key (refit_id, number)
) strict;

CREATE TABLE refits (
    id         integer primary key,
    model      text not null,
    as_of      text not null,
    risk       real not null,
    scope      text not null, -- whose forecasts are made, JSON
    uploads    integer not null, -- that there were when it began
    learn_only integer not null, -- no forecasts are made
    step       integer not null, -- all shares work on, from 0
    learning   integer not null, -- else the step is the last: forecasting
    knows      text not null, -- JSON: what the steps before gave; once learned, the model's values
    state      text not null, -- working, done, failed, superseded
    message    text not null, -- why it failed
    begun_at   text not null,
    ended_at   text,
    -- Who joins what the shares gave; free once the lease is over.
    holder     text,
    until      text,
    tries      integer not null -- in this step
) strict;

CREATE UNIQUE INDEX refits_working on refits (model, as_of, risk, scope, learn_only) where state = 'working';

CREATE TABLE request_keys (
    sent_by   text not null,
    key       text not null,
    upload_id integer not null references uploads,
    primary key (sent_by, key)
) strict;

CREATE TABLE rule_set_choices (
    id       integer primary key,
    fleet_id integer not null references fleets,
    rule_set text not null,
    why      text not null,
    done_by  text not null,
    done_at  text not null
) strict;

CREATE INDEX rule_set_choices_fleet on rule_set_choices (fleet_id, id);

CREATE TABLE second_factors (
    account_id   integer primary key references accounts,
    secret       text not null, -- base32
    made_at      text not null,
    confirmed_at text, -- by a first code; null: is being set up, and asked for of nobody
    last_step    integer not null -- of the last code taken, in steps since 1970: each counts once
) strict;

CREATE TABLE sessions (
    id         integer primary key,
    sha256     text not null unique,
    account_id integer not null references accounts,
    started_at text not null,
    seen_at    text not null,
    browser    text not null
) strict;

CREATE INDEX sessions_account on sessions (account_id);

CREATE TABLE sign_in_failures (
    subject text not null,
    at      text not null
) strict;

CREATE INDEX sign_in_failures_subject on sign_in_failures (subject, at);

CREATE TABLE sign_ins_begun (
    sha256     text primary key,
    account_id integer not null references accounts,
    begun_at   text not null
) strict;

CREATE INDEX sign_ins_begun_account on sign_ins_begun (account_id);

CREATE TABLE step_plans (
    fleet_id integer not null references fleets,
    section  text not null,
    version  integer not null, -- from 1
    steps    text not null, -- JSON
    made_by  text not null,
    made_at  text not null,
    primary key (fleet_id, section, version)
) strict;

CREATE TABLE stock (
    part_id  integer not null references stock_parts,
    depot_id integer not null references depots,
    fleet_id integer not null,
    quantity integer not null, counts integer not null default 0,
    primary key (part_id, depot_id)
) strict;

CREATE TABLE stock_fits (
    part_id    integer not null references stock_parts,
    seq        integer not null,
    fleet_id   integer not null,
    make       text not null, -- blank: any
    model      text not null, -- blank: any
    vehicle_id integer references vehicles, -- null: any
    axle       integer not null, -- 0: any
    primary key (part_id, seq)
) strict;

CREATE TABLE stock_parts (
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

CREATE INDEX stock_parts_number on stock_parts (number_key, id);

CREATE TABLE thickness_readings (
    id               integer primary key,
    fleet_id         integer not null,
    vehicle_id       integer not null,
    inspection_id    integer not null,
    day              text not null,
    axle             integer not null,
    part             text not null,
    side             text not null, -- blank: thinner of both
    face             text not null, -- blank: thinner of both
    mm               real not null,
    tripped          integer not null, -- a sensor's signal: at or below mm
    given            text not null, -- as written by the technician
    unit             text not null,
    gauge            text not null,
    note             text not null,
    upload_id        integer not null,
    line             integer not null, -- of the upload's file; 0 for a form
    superseded_by    integer references thickness_readings,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     text
, revision integer not null default 0) strict;

CREATE UNIQUE INDEX thickness_readings_key on thickness_readings
    (vehicle_id, day, axle, part, side, face, mm, tripped, revision);

CREATE TABLE track_record (
    fleet_id   integer not null,
    vehicle_id integer not null references vehicles,
    axle       integer not null,
    part       text not null,
    removed    text not null,
    ahead      integer not null, -- days before removed
    fitted     text not null,
    left_mm    real not null, -- above the limit; negative past it
    left_share real not null, -- of the usable lining
    -- Where the set met its limit or would have: days since 1970-01-01, km on the
    -- vehicle's continuous scale. Null where too much was left to say.
    cross_day  real,
    cross_km   real,
    -- The forecast made so many days ahead; null when there was none.
    promised   text,
    replayed   integer not null, -- made afterwards, from what was known that day
    day_p10    real,
    day_p50    real,
    day_p90    real,
    km_p10     real,
    km_p50     real,
    km_p90     real,
    at_km      real, -- the odometer's total on that day
    primary key (vehicle_id, axle, part, removed, ahead)
) strict;

CREATE INDEX track_record_removed on track_record (removed);

CREATE TABLE upload_places (
    upload_id integer not null references uploads,
    fleet_id  integer not null references fleets,
    depot_id  integer not null references depots,
    primary key (upload_id, fleet_id, depot_id)
) strict;

CREATE TABLE upload_problems (
    upload_id integer not null references uploads,
    seq       integer not null,
    line      integer not null, -- 0 when it concerns the whole
    col       text not null,
    found     text not null, -- what was read
    message   text not null,
    refused   integer not null, doubtful integer not null default 0,
    primary key (upload_id, seq)
) strict;

CREATE TABLE uploads (
    id       integer primary key,
    kind     text not null,
    name     text not null, -- file name as sent
    sha256   text not null, -- of its bytes, hex
    sent_by  text not null,
    sent_at  text not null,
    accepted integer not null,
    refused  integer not null,
    repeated integer not null
, doubtful integer not null default 0) strict;

CREATE INDEX uploads_hash on uploads (sha256, kind, id);

CREATE TABLE vehicles (
    id       integer primary key,
    fleet_id integer not null references fleets,
    depot_id integer not null references depots,
    number   text not null, -- what people call it
    plate    text not null,
    category text not null, -- M1 to O4, blank when not known
    make     text not null,
    model    text not null,
    year     integer not null, -- of manufacture; 0 = not known
    duty     text not null,
    sort_key text not null, -- number, so that 9 comes before 10
    search   text not null, first_used text, actuation text not null default '', gross_kg real not null default 0, written integer not null default 0, -- number, plate, make and model in lower case
    unique (fleet_id, number)
) strict;

CREATE INDEX vehicles_depot on vehicles (depot_id);

CREATE INDEX vehicles_number on vehicles (number);

CREATE INDEX vehicles_sort on vehicles (sort_key, id);

CREATE INDEX vehicles_written on vehicles (written);

CREATE TABLE workshop_days (
    depot_id    integer not null references workshops,
    weekday     integer not null, -- 0 = Monday
    opens       integer not null, -- minutes after midnight on the depot's clock
    closes      integer not null, -- as opens: closed
    technicians real not null, -- hours of all of them
    primary key (depot_id, weekday)
) strict;

CREATE TABLE workshop_hours (
    depot_id integer not null references workshops,
    task     text not null,
    light    real not null,
    heavy    real not null,
    primary key (depot_id, task)
) strict;

CREATE TRIGGER plan_written_workshops_delete after delete on workshops
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_workshops_insert after insert on workshops
begin
    update plan_written set mark = mark + 1;
end;

CREATE TRIGGER plan_written_workshops_update after update on workshops
begin
    update plan_written set mark = mark + 1;
end;

CREATE TABLE workshops (
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
