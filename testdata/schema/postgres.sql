-- The present schema, written by the test of internal/store. Do not edit.

create table absences (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    first_day date,
    last_day date,
    weekdays integer not null,
    reason text not null,
    constraint absences_pkey PRIMARY KEY (id),
    constraint absences_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE UNIQUE INDEX absences_once ON public.absences USING btree (vehicle_id, COALESCE(first_day, '-infinity'::date), COALESCE(last_day, 'infinity'::date), weekdays, reason);

create table accounts (
    id bigint not null generated always as identity,
    name text not null,
    email text not null,
    email_key text collate "C" not null,
    password text not null,
    added_by text not null,
    added_at timestamp with time zone not null,
    signed_in_at timestamp with time zone,
    stopped_by text,
    stopped_at timestamp with time zone,
    distance text not null,
    thickness text not null,
    days text not null,
    time_zone text not null,
    narrow boolean not null,
    constraint accounts_pkey PRIMARY KEY (id)
);
CREATE UNIQUE INDEX accounts_email ON public.accounts USING btree (email_key) WHERE (stopped_at IS NULL);

create table api_tokens (
    id bigint not null generated always as identity,
    sha256 text collate "C" not null,
    account_id bigint not null,
    name text not null,
    rights text collate "C" not null,
    made_at timestamp with time zone not null,
    until timestamp with time zone not null,
    used_at timestamp with time zone,
    ended_by text,
    ended_at timestamp with time zone,
    constraint api_tokens_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint api_tokens_pkey PRIMARY KEY (id),
    constraint api_tokens_sha256_key UNIQUE (sha256)
);
CREATE INDEX api_tokens_account ON public.api_tokens USING btree (account_id);

create table audit_log (
    id bigint not null generated always as identity,
    at timestamp with time zone not null,
    done_by text not null,
    account_id bigint,
    token_id bigint,
    via text collate "C" not null,
    origin text not null,
    request text collate "C" not null,
    act text collate "C" not null,
    record text collate "C" not null,
    record_id bigint,
    fleet_id bigint,
    depot_id bigint,
    detail text not null,
    constraint audit_log_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint audit_log_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint audit_log_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint audit_log_pkey PRIMARY KEY (id),
    constraint audit_log_token_id_fkey FOREIGN KEY (token_id) REFERENCES api_tokens(id)
);
CREATE INDEX audit_log_at ON public.audit_log USING btree (at);
CREATE INDEX audit_log_depot ON public.audit_log USING btree (depot_id, id) WHERE (depot_id IS NOT NULL);
CREATE INDEX audit_log_done_by ON public.audit_log USING btree (done_by, id);
CREATE INDEX audit_log_fleet ON public.audit_log USING btree (fleet_id, id) WHERE (fleet_id IS NOT NULL);
CREATE INDEX audit_log_record ON public.audit_log USING btree (record, record_id, id);

create table axle_forecasts (
    fleet_id bigint not null,
    depot_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    model text not null,
    as_of date not null,
    odometer_km double precision,
    km_per_day double precision,
    readings integer not null,
    book_by date,
    risk double precision not null,
    past_limit boolean not null,
    limiting integer not null,
    part text not null,
    side text not null,
    face text not null,
    thickness_mm double precision,
    new_mm double precision,
    limit_mm double precision,
    rate double precision,
    km_left double precision,
    p05 date,
    p10 date,
    p50 date,
    p90 date,
    p95 date,
    width80_days double precision,
    width80_if_measured double precision,
    warnings text not null,
    basis text not null,
    by_due date not null,
    by_limit date not null,
    by_km double precision not null,
    by_thickness double precision not null,
    by_narrowing double precision not null,
    km_quantiles bytea,
    day_quantiles bytea,
    written bigint not null,
    constraint axle_forecasts_pkey PRIMARY KEY (vehicle_id, axle),
    constraint axle_forecasts_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE INDEX axle_forecasts_depot_due ON public.axle_forecasts USING btree (depot_id, by_due, vehicle_id, axle);
CREATE INDEX axle_forecasts_due ON public.axle_forecasts USING btree (by_due, vehicle_id, axle);
CREATE INDEX axle_forecasts_fleet_due ON public.axle_forecasts USING btree (fleet_id, by_due, vehicle_id, axle);
CREATE INDEX axle_forecasts_written ON public.axle_forecasts USING btree (written);

create table axle_limits (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    part text not null,
    limit_mm double precision,
    why text not null,
    done_by text not null,
    done_at timestamp with time zone not null,
    constraint axle_limits_pkey PRIMARY KEY (id),
    constraint axle_limits_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE INDEX axle_limits_part ON public.axle_limits USING btree (vehicle_id, axle, part, id);

create table axle_specs (
    fleet_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    part text collate "C" not null,
    new_mm double precision not null,
    limit_mm double precision not null,
    source text not null,
    constraint axle_specs_pkey PRIMARY KEY (vehicle_id, axle, part),
    constraint axle_specs_vehicle_id_axle_fkey FOREIGN KEY (vehicle_id, axle) REFERENCES axles(vehicle_id, number)
);

create table axles (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    number integer not null,
    brake text not null,
    constraint axles_pkey PRIMARY KEY (id),
    constraint axles_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id),
    constraint axles_vehicle_id_number_key UNIQUE (vehicle_id, number)
);

create table booking_changes (
    id bigint not null generated always as identity,
    booking_id bigint not null,
    at timestamp with time zone not null,
    changed_by text not null,
    what text not null,
    why text not null,
    from_depot bigint,
    from_day date,
    from_bay integer,
    from_starts integer,
    from_minutes integer,
    to_depot bigint not null,
    to_day date not null,
    to_bay integer not null,
    to_starts integer not null,
    to_minutes integer not null,
    constraint booking_changes_booking_id_fkey FOREIGN KEY (booking_id) REFERENCES bookings(id),
    constraint booking_changes_pkey PRIMARY KEY (id)
);
CREATE INDEX booking_changes_at ON public.booking_changes USING btree (at, id);
CREATE INDEX booking_changes_booking ON public.booking_changes USING btree (booking_id, id);
CREATE INDEX booking_changes_left ON public.booking_changes USING btree (from_depot, at);

create table booking_work (
    booking_id bigint not null,
    seq integer not null,
    axle integer not null,
    item text not null,
    part_id bigint,
    part_number text collate "C" not null,
    quantity integer not null,
    reason text not null,
    constraint booking_work_booking_id_fkey FOREIGN KEY (booking_id) REFERENCES bookings(id),
    constraint booking_work_part_id_fkey FOREIGN KEY (part_id) REFERENCES stock_parts(id),
    constraint booking_work_pkey PRIMARY KEY (booking_id, seq),
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED
);

create table bookings (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    depot_id bigint not null,
    day date not null,
    bay integer not null,
    starts integer not null,
    minutes integer not null,
    hours double precision not null,
    state text not null,
    kept boolean not null,
    note text not null,
    cost double precision,
    visit_id bigint,
    made_by text not null,
    made_at timestamp with time zone not null,
    changed_at timestamp with time zone not null,
    revision integer not null,
    constraint bookings_bay EXCLUDE USING gist (int8range(((((((depot_id * 100000) + (day - '1970-01-01'::date)) * 100) + bay) * 1440) + starts), (((((((depot_id * 100000) + (day - '1970-01-01'::date)) * 100) + bay) * 1440) + starts) + minutes)) WITH &&) WHERE (((state = 'booked'::text) OR (state = 'done'::text))),
    constraint bookings_check CHECK (((minutes > 0) AND ((bay >= 1) AND (bay <= 99)) AND (starts >= 0) AND ((starts + minutes) <= 1440))),
    constraint bookings_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint bookings_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint bookings_pkey PRIMARY KEY (id),
    constraint bookings_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id),
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX bookings_day ON public.bookings USING btree (depot_id, day);
CREATE UNIQUE INDEX bookings_once ON public.bookings USING btree (vehicle_id, day) WHERE (state = 'booked'::text);
CREATE INDEX bookings_time ON public.bookings USING btree (day, depot_id, starts, id);
CREATE INDEX bookings_vehicle ON public.bookings USING btree (vehicle_id, day);

create table brake_efforts (
    test_id bigint not null,
    fleet_id bigint not null,
    axle integer not null,
    side text not null,
    force_n double precision not null,
    locked boolean not null,
    constraint brake_efforts_pkey PRIMARY KEY (test_id, axle, side),
    constraint brake_efforts_test_id_fkey FOREIGN KEY (test_id) REFERENCES brake_tests(id)
);

create table brake_test_rejudgements (
    test_id bigint not null,
    number integer not null,
    fleet_id bigint not null,
    rule_set text not null,
    verdict text not null,
    judgement text not null,
    facts text not null,
    why text not null,
    judged_at timestamp with time zone not null,
    constraint brake_test_rejudgements_pkey PRIMARY KEY (test_id, number),
    constraint brake_test_rejudgements_test_id_fkey FOREIGN KEY (test_id) REFERENCES brake_tests(id)
);

create table brake_test_verdicts (
    test_id bigint not null,
    fleet_id bigint not null,
    rule_set text not null,
    verdict text not null,
    judgement text not null,
    judged_at timestamp with time zone not null,
    facts text,
    constraint brake_test_verdicts_pkey PRIMARY KEY (test_id),
    constraint brake_test_verdicts_test_id_fkey FOREIGN KEY (test_id) REFERENCES brake_tests(id)
);

create table brake_tests (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    method text not null,
    system text not null,
    stage text not null,
    odometer_km double precision,
    weight_kg double precision not null,
    force_unit text not null,
    mean_decel double precision not null,
    peak_decel double precision not null,
    speed_kmh double precision not null,
    distance_m double precision not null,
    begin_m double precision not null,
    end_m double precision not null,
    pedal_n double precision not null,
    technician text not null,
    note text not null,
    content text not null,
    upload_id bigint not null,
    line integer not null,
    superseded_by bigint,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    revision integer not null,
    constraint brake_tests_pkey PRIMARY KEY (id),
    constraint brake_tests_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES brake_tests(id),
    constraint brake_tests_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id),
    constraint brake_tests_vehicle_id_day_content_revision_key UNIQUE (vehicle_id, day, content, revision),
    constraint brake_tests_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table calendar_feeds (
    id bigint not null generated always as identity,
    sha256 text collate "C" not null,
    fleet_id bigint not null,
    depot_id bigint,
    vehicle_id bigint,
    made_by text not null,
    made_at timestamp with time zone not null,
    revoked_by text,
    revoked_at timestamp with time zone,
    read_on date,
    account_id bigint,
    constraint calendar_feeds_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint calendar_feeds_check CHECK (((depot_id IS NULL) <> (vehicle_id IS NULL))),
    constraint calendar_feeds_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint calendar_feeds_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint calendar_feeds_pkey PRIMARY KEY (id),
    constraint calendar_feeds_sha256_key UNIQUE (sha256),
    constraint calendar_feeds_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table closures (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    depot_id bigint not null,
    first_day date not null,
    last_day date not null,
    technicians double precision not null,
    reason text not null,
    constraint closures_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint closures_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint closures_pkey PRIMARY KEY (id)
);
CREATE UNIQUE INDEX closures_once ON public.closures USING btree (depot_id, last_day, first_day, technicians, reason);

create table cluster_swaps (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    old_km double precision not null,
    new_km double precision not null,
    upload_id bigint not null,
    superseded_by bigint,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    constraint cluster_swaps_pkey PRIMARY KEY (id),
    constraint cluster_swaps_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES cluster_swaps(id),
    constraint cluster_swaps_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id),
    constraint cluster_swaps_vehicle_id_day_old_km_new_km_key UNIQUE (vehicle_id, day, old_km, new_km),
    constraint cluster_swaps_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table corrections (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    record text not null,
    record_id bigint not null,
    act text not null,
    stands_id bigint,
    reason text not null,
    done_by text not null,
    done_at timestamp with time zone not null,
    constraint corrections_pkey PRIMARY KEY (id),
    constraint corrections_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE INDEX corrections_vehicle ON public.corrections USING btree (vehicle_id, id);

create table depots (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    name text not null,
    name_key text collate "C" not null,
    time_zone text not null,
    constraint depots_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint depots_fleet_id_name_key_key UNIQUE (fleet_id, name_key),
    constraint depots_pkey PRIMARY KEY (id),
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED
);

create table digest_axles (
    recipient_id bigint not null,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    book_by date,
    constraint digest_axles_pkey PRIMARY KEY (recipient_id, vehicle_id, axle),
    constraint digest_axles_recipient_id_fkey FOREIGN KEY (recipient_id) REFERENCES recipients(id),
    constraint digest_axles_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table digests (
    recipient_id bigint not null,
    day date not null,
    since timestamp with time zone,
    until timestamp with time zone not null,
    state text not null,
    tries integer not null,
    changed_at timestamp with time zone not null,
    message text not null,
    constraint digests_pkey PRIMARY KEY (recipient_id, day),
    constraint digests_recipient_id_fkey FOREIGN KEY (recipient_id) REFERENCES recipients(id)
);

create table findings (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    kind text collate "C" not null,
    subject text collate "C" not null,
    urgency integer not null,
    axle integer not null,
    part text not null,
    side text not null,
    face text not null,
    seen text not null,
    advice text not null,
    source text not null,
    figure double precision,
    record text not null,
    record_id bigint,
    after_day date,
    before_day date,
    fit_day date,
    fit_km double precision,
    state text collate "C" not null,
    first_seen date not null,
    last_seen date not null,
    answer text collate "C" not null,
    note text not null,
    note_by text not null,
    note_at timestamp with time zone,
    note_figure double precision,
    constraint findings_pkey PRIMARY KEY (id),
    constraint findings_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id),
    constraint findings_vehicle_id_kind_subject_key UNIQUE (vehicle_id, kind, subject)
);
CREATE INDEX findings_open ON public.findings USING btree (state, urgency, id);

create table fitments (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    axle integer not null,
    part text collate "C" not null,
    side text collate "C" not null,
    face text collate "C" not null,
    odometer_km double precision,
    mm double precision not null,
    upload_id bigint not null,
    line integer not null,
    superseded_by bigint,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    revision integer not null,
    constraint fitments_key UNIQUE (vehicle_id, day, axle, part, side, face, revision),
    constraint fitments_pkey PRIMARY KEY (id),
    constraint fitments_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES fitments(id),
    constraint fitments_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id),
    constraint fitments_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table fleets (
    id bigint not null generated always as identity,
    name text not null,
    name_key text collate "C" not null,
    rule_set text not null,
    constraint fleets_name_key_key UNIQUE (name_key),
    constraint fleets_pkey PRIMARY KEY (id),
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED
);

create table fluid_changes (
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    constraint fluid_changes_pkey PRIMARY KEY (vehicle_id),
    constraint fluid_changes_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table forecast_log (
    fleet_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    as_of date not null,
    logged_at timestamp with time zone not null,
    model text not null,
    readings integer not null,
    odometer_km double precision,
    book_by date,
    risk double precision not null,
    past_limit boolean not null,
    day_p025 double precision,
    day_p05 double precision,
    day_p10 double precision,
    day_p25 double precision,
    day_p50 double precision,
    day_p75 double precision,
    day_p90 double precision,
    day_p95 double precision,
    day_p975 double precision,
    km_p025 double precision,
    km_p05 double precision,
    km_p10 double precision,
    km_p25 double precision,
    km_p50 double precision,
    km_p75 double precision,
    km_p90 double precision,
    km_p95 double precision,
    km_p975 double precision,
    part text,
    thickness_mm double precision,
    new_mm double precision,
    limit_mm double precision,
    rate double precision,
    constraint forecast_log_pkey PRIMARY KEY (vehicle_id, axle, as_of),
    constraint forecast_log_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table forecast_positions (
    vehicle_id bigint not null,
    axle integer not null,
    positions json not null,
    km_quantiles bytea not null,
    day_quantiles bytea not null,
    constraint forecast_positions_pkey PRIMARY KEY (vehicle_id, axle)
);

create table grants (
    id bigint not null generated always as identity,
    account_id bigint not null,
    role text collate "C" not null,
    fleet_id bigint,
    depot_id bigint,
    given_by text not null,
    given_at timestamp with time zone not null,
    ended_by text,
    ended_at timestamp with time zone,
    constraint grants_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint grants_check CHECK (((depot_id IS NULL) OR (fleet_id IS NOT NULL))),
    constraint grants_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint grants_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint grants_pkey PRIMARY KEY (id)
);
CREATE INDEX grants_account ON public.grants USING btree (account_id) WHERE (ended_at IS NULL);

create table inspection_conditions (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    inspection_id bigint not null,
    day date not null,
    axle integer not null,
    side text collate "C" not null,
    kind text collate "C" not null,
    note text not null,
    note_key text collate "C" not null,
    upload_id bigint not null,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    superseded_by bigint,
    constraint inspection_conditions_inspection_id_fkey FOREIGN KEY (inspection_id) REFERENCES inspections(id),
    constraint inspection_conditions_key UNIQUE (vehicle_id, day, axle, side, kind, note_key),
    constraint inspection_conditions_pkey PRIMARY KEY (id),
    constraint inspection_conditions_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES inspection_conditions(id),
    constraint inspection_conditions_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id),
    constraint inspection_conditions_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table inspections (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    odometer_km double precision,
    technician text collate "C" not null,
    constraint inspections_pkey PRIMARY KEY (id),
    constraint inspections_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE UNIQUE INDEX inspections_visit ON public.inspections USING btree (vehicle_id, day, COALESCE(odometer_km, ('-1'::integer)::double precision), technician);

create table job_card_entries (
    id bigint not null generated always as identity,
    card_id bigint not null,
    seq integer not null,
    state text not null,
    noted text not null,
    note text not null,
    entered_by text not null,
    entered_at timestamp with time zone not null,
    key text collate "C" not null,
    constraint job_card_entries_card_id_seq_fkey FOREIGN KEY (card_id, seq) REFERENCES job_card_steps(card_id, seq),
    constraint job_card_entries_pkey PRIMARY KEY (id)
);
CREATE INDEX job_card_entries_card ON public.job_card_entries USING btree (card_id, seq, id);
CREATE UNIQUE INDEX job_card_entries_key ON public.job_card_entries USING btree (card_id, seq, key) WHERE (key <> ''::text);

create table job_card_parts (
    id bigint not null generated always as identity,
    card_id bigint not null,
    axle integer not null,
    part text not null,
    side text not null,
    number text not null,
    batch text not null,
    mm double precision not null,
    measured boolean not null,
    fitment_id bigint not null,
    fitted_by text not null,
    fitted_at timestamp with time zone not null,
    stock_id bigint,
    constraint job_card_parts_card_id_fkey FOREIGN KEY (card_id) REFERENCES job_cards(id),
    constraint job_card_parts_fitment_id_fkey FOREIGN KEY (fitment_id) REFERENCES fitments(id),
    constraint job_card_parts_pkey PRIMARY KEY (id),
    constraint job_card_parts_stock_id_fkey FOREIGN KEY (stock_id) REFERENCES job_card_stock(id)
);
CREATE INDEX job_card_parts_card ON public.job_card_parts USING btree (card_id, id);
CREATE INDEX job_card_parts_fitment ON public.job_card_parts USING btree (fitment_id);
CREATE INDEX job_card_parts_stock ON public.job_card_parts USING btree (stock_id) WHERE (stock_id IS NOT NULL);

create table job_card_steps (
    card_id bigint not null,
    seq integer not null,
    section text not null,
    axle integer not null,
    step text not null,
    constraint job_card_steps_card_id_fkey FOREIGN KEY (card_id) REFERENCES job_cards(id),
    constraint job_card_steps_pkey PRIMARY KEY (card_id, seq)
);

create table job_card_stock (
    id bigint not null generated always as identity,
    card_id bigint not null,
    depot_id bigint not null,
    axle integer not null,
    part_id bigint not null,
    used integer not null,
    quantity integer not null,
    counts integer not null,
    taken_at timestamp with time zone not null,
    put_back_at timestamp with time zone,
    constraint job_card_stock_card_id_fkey FOREIGN KEY (card_id) REFERENCES job_cards(id),
    constraint job_card_stock_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint job_card_stock_part_id_fkey FOREIGN KEY (part_id) REFERENCES stock_parts(id),
    constraint job_card_stock_pkey PRIMARY KEY (id)
);

create table job_cards (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    depot_id bigint not null,
    booking_id bigint,
    day date not null,
    odometer_km double precision,
    work text not null,
    state text not null,
    opened_by text not null,
    opened_at timestamp with time zone not null,
    closed_by text not null,
    closed_at timestamp with time zone,
    note text not null,
    constraint job_cards_booking_id_fkey FOREIGN KEY (booking_id) REFERENCES bookings(id),
    constraint job_cards_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint job_cards_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint job_cards_pkey PRIMARY KEY (id),
    constraint job_cards_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE UNIQUE INDEX job_cards_booking ON public.job_cards USING btree (booking_id) WHERE (state <> 'dropped'::text);
CREATE INDEX job_cards_open ON public.job_cards USING btree (depot_id, state, day);
CREATE INDEX job_cards_vehicle ON public.job_cards USING btree (vehicle_id, id);

create table job_runs (
    id bigint not null generated always as identity,
    job text collate "C" not null,
    zone text collate "C" not null,
    due timestamp with time zone,
    attempt integer not null,
    asked_by text not null,
    asked_at timestamp with time zone not null,
    started_at timestamp with time zone,
    ended_at timestamp with time zone,
    state text collate "C" not null,
    message text not null,
    constraint job_runs_job_zone_due_attempt_key UNIQUE (job, zone, due, attempt),
    constraint job_runs_pkey PRIMARY KEY (id)
);
CREATE INDEX job_runs_job ON public.job_runs USING btree (job, zone, id);
CREATE INDEX job_runs_running ON public.job_runs USING btree (job) WHERE (state = 'running'::text);
CREATE UNIQUE INDEX job_runs_waiting ON public.job_runs USING btree (job, zone) WHERE (state = 'waiting'::text);

create table job_times (
    job text collate "C" not null,
    zone text collate "C" not null,
    handled timestamp with time zone not null,
    next timestamp with time zone,
    constraint job_times_pkey PRIMARY KEY (job, zone)
);

create table kept_file_parts (
    file_id bigint not null,
    seq integer not null,
    bytes bytea not null,
    constraint kept_file_parts_file_id_fkey FOREIGN KEY (file_id) REFERENCES kept_files(id) ON DELETE CASCADE,
    constraint kept_file_parts_pkey PRIMARY KEY (file_id, seq)
);

create table kept_files (
    id bigint not null generated always as identity,
    sha256 text collate "C" not null,
    name text not null,
    kind text not null,
    date_order text not null,
    sent_by text collate "C" not null,
    scope text not null,
    bytes bigint not null,
    sent_at timestamp with time zone not null,
    expires_at timestamp with time zone not null,
    state text not null,
    read_bytes bigint not null,
    read_rows bigint not null,
    report text not null,
    fault text not null,
    upload_id bigint,
    constraint kept_files_pkey PRIMARY KEY (id),
    constraint kept_files_sha256_sent_by_kind_date_order_key UNIQUE (sha256, sent_by, kind, date_order),
    constraint kept_files_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id)
);
CREATE INDEX kept_files_expiry ON public.kept_files USING btree (expires_at);

create table links (
    sha256 text collate "C" not null,
    account_id bigint not null,
    made_by text not null,
    made_at timestamp with time zone not null,
    until timestamp with time zone not null,
    whole boolean not null,
    constraint links_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint links_pkey PRIMARY KEY (sha256)
);
CREATE INDEX links_account ON public.links USING btree (account_id);

create table makers_values (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    make text not null,
    model text not null,
    axle integer not null,
    measure text not null,
    low double precision,
    high double precision,
    unit text not null,
    source text not null,
    changed_by text not null,
    changed_at timestamp with time zone not null,
    constraint makers_values_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint makers_values_pkey PRIMARY KEY (id)
);
CREATE UNIQUE INDEX makers_values_key ON public.makers_values USING btree (fleet_id, make, model, axle, measure);

create table model_parameters (
    id bigint not null generated always as identity,
    model text collate "C" not null,
    fitted_at timestamp with time zone not null,
    as_of date not null,
    learned text not null,
    diagnostics text not null,
    constraint model_parameters_pkey PRIMARY KEY (id)
);
CREATE INDEX model_parameters_model ON public.model_parameters USING btree (model, id);

create table odometer_readings (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    day date not null,
    km double precision not null,
    upload_id bigint not null,
    superseded_by bigint,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    revision integer not null,
    constraint odometer_readings_key UNIQUE (vehicle_id, day, km, revision),
    constraint odometer_readings_pkey PRIMARY KEY (id),
    constraint odometer_readings_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES odometer_readings(id),
    constraint odometer_readings_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id),
    constraint odometer_readings_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table openid_subjects (
    issuer text collate "C" not null,
    subject text collate "C" not null,
    account_id bigint not null,
    bound_at timestamp with time zone not null,
    constraint openid_subjects_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint openid_subjects_pkey PRIMARY KEY (issuer, subject)
);
CREATE UNIQUE INDEX openid_subjects_account ON public.openid_subjects USING btree (account_id, issuer);

create table own_thresholds (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    value_id text not null,
    x double precision,
    why text not null,
    done_by text not null,
    done_at timestamp with time zone not null,
    constraint own_thresholds_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint own_thresholds_pkey PRIMARY KEY (id)
);
CREATE INDEX own_thresholds_fleet ON public.own_thresholds USING btree (fleet_id, id);

create table plan_written (
    one integer not null,
    mark bigint not null,
    constraint plan_written_one_check CHECK ((one = 1)),
    constraint plan_written_pkey PRIMARY KEY (one)
);

create table planned_visits (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    depot_id bigint,
    day date not null,
    what text not null,
    constraint planned_visits_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint planned_visits_pkey PRIMARY KEY (id),
    constraint planned_visits_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE UNIQUE INDEX planned_visits_once ON public.planned_visits USING btree (vehicle_id, day, COALESCE(depot_id, (0)::bigint), what);

create table proposal_visits (
    id bigint not null generated always as identity,
    proposal_id bigint not null,
    fleet_id bigint not null,
    depot_id bigint not null,
    vehicle_id bigint not null,
    booking_id bigint,
    advice text not null,
    day date,
    bay integer not null,
    starts integer not null,
    minutes integer not null,
    hours double precision not null,
    cost double precision,
    chance double precision,
    book_by date,
    visit_id bigint,
    work text not null,
    why text not null,
    remedy text not null,
    changed text not null,
    state text not null,
    decided_by text not null,
    decided_at timestamp with time zone,
    decided_why text not null,
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED,
    constraint proposal_visits_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint proposal_visits_pkey PRIMARY KEY (id),
    constraint proposal_visits_proposal_id_fkey FOREIGN KEY (proposal_id) REFERENCES proposals(id),
    constraint proposal_visits_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE INDEX proposal_visits_days ON public.proposal_visits USING btree (state, COALESCE(day, book_by, '9999-12-31'::date), depot_id, starts, id);
CREATE INDEX proposal_visits_open ON public.proposal_visits USING btree (depot_id, state, COALESCE(day, book_by, '9999-12-31'::date), starts, id);
CREATE INDEX proposal_visits_run ON public.proposal_visits USING btree (proposal_id, COALESCE(day, book_by, '9999-12-31'::date), depot_id, starts, id);
CREATE INDEX proposal_visits_vehicle ON public.proposal_visits USING btree (vehicle_id, state);

create table proposals (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    made_by text not null,
    made_at timestamp with time zone not null,
    as_of date not null,
    until date not null,
    risk double precision not null,
    cost double precision not null,
    bound double precision not null,
    figures text not null,
    constraint proposals_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint proposals_pkey PRIMARY KEY (id)
);
CREATE INDEX proposals_fleet ON public.proposals USING btree (fleet_id, id);

create table recipient_places (
    recipient_id bigint not null,
    fleet_id bigint not null,
    depot_id bigint,
    constraint recipient_places_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint recipient_places_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint recipient_places_recipient_id_fkey FOREIGN KEY (recipient_id) REFERENCES recipients(id)
);
CREATE INDEX recipient_places_recipient ON public.recipient_places USING btree (recipient_id);

create table recipients (
    id bigint not null generated always as identity,
    name text not null,
    address text not null,
    address_key text collate "C" not null,
    role text not null,
    everything boolean not null,
    added_by text not null,
    added_at timestamp with time zone not null,
    stopped_by text,
    stopped_at timestamp with time zone,
    constraint recipients_pkey PRIMARY KEY (id)
);
CREATE UNIQUE INDEX recipients_address ON public.recipients USING btree (address_key) WHERE (stopped_at IS NULL);

create table recovery_codes (
    sha256 text collate "C" not null,
    account_id bigint not null,
    constraint recovery_codes_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint recovery_codes_pkey PRIMARY KEY (sha256)
);
CREATE INDEX recovery_codes_account ON public.recovery_codes USING btree (account_id);

create table refit_shares (
    refit_id bigint not null,
    number integer not null,
    first_id bigint not null,
    last_id bigint not null,
    vehicles integer not null,
    done integer not null,
    holder text collate "C",
    until timestamp with time zone,
    worker text not null,
    tries integer not null,
    through bigint not null,
    forecast integer not null,
    axles integer not null,
    heard bytea,
    constraint refit_shares_pkey PRIMARY KEY (refit_id, number),
    constraint refit_shares_refit_id_fkey FOREIGN KEY (refit_id) REFERENCES refits(id) ON DELETE CASCADE
);

create table refits (
    id bigint not null generated always as identity,
    model text collate "C" not null,
    as_of date not null,
    risk double precision not null,
    scope text collate "C" not null,
    uploads bigint not null,
    learn_only boolean not null,
    step integer not null,
    learning boolean not null,
    knows text not null,
    state text collate "C" not null,
    message text not null,
    begun_at timestamp with time zone not null,
    ended_at timestamp with time zone,
    holder text collate "C",
    until timestamp with time zone,
    tries integer not null,
    constraint refits_pkey PRIMARY KEY (id)
);
CREATE UNIQUE INDEX refits_working ON public.refits USING btree (model, as_of, risk, scope, learn_only) WHERE (state = 'working'::text);

create table request_keys (
    sent_by text collate "C" not null,
    key text collate "C" not null,
    upload_id bigint not null,
    constraint request_keys_pkey PRIMARY KEY (sent_by, key),
    constraint request_keys_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id)
);

create table rule_set_choices (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    rule_set text not null,
    why text not null,
    done_by text not null,
    done_at timestamp with time zone not null,
    constraint rule_set_choices_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint rule_set_choices_pkey PRIMARY KEY (id)
);
CREATE INDEX rule_set_choices_fleet ON public.rule_set_choices USING btree (fleet_id, id);

create table second_factors (
    account_id bigint not null,
    secret text not null,
    made_at timestamp with time zone not null,
    confirmed_at timestamp with time zone,
    last_step bigint not null,
    constraint second_factors_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint second_factors_pkey PRIMARY KEY (account_id)
);

create table sessions (
    id bigint not null generated always as identity,
    sha256 text collate "C" not null,
    account_id bigint not null,
    started_at timestamp with time zone not null,
    seen_at timestamp with time zone not null,
    browser text not null,
    constraint sessions_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint sessions_pkey PRIMARY KEY (id),
    constraint sessions_sha256_key UNIQUE (sha256)
);
CREATE INDEX sessions_account ON public.sessions USING btree (account_id);

create table sign_in_failures (
    subject text collate "C" not null,
    at timestamp with time zone not null
);
CREATE INDEX sign_in_failures_subject ON public.sign_in_failures USING btree (subject, at);

create table sign_ins_begun (
    sha256 text collate "C" not null,
    account_id bigint not null,
    begun_at timestamp with time zone not null,
    constraint sign_ins_begun_account_id_fkey FOREIGN KEY (account_id) REFERENCES accounts(id),
    constraint sign_ins_begun_pkey PRIMARY KEY (sha256)
);
CREATE INDEX sign_ins_begun_account ON public.sign_ins_begun USING btree (account_id);

create table step_plans (
    fleet_id bigint not null,
    section text collate "C" not null,
    version integer not null,
    steps text not null,
    made_by text not null,
    made_at timestamp with time zone not null,
    constraint step_plans_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint step_plans_pkey PRIMARY KEY (fleet_id, section, version)
);

create table stock (
    part_id bigint not null,
    depot_id bigint not null,
    fleet_id bigint not null,
    quantity integer not null,
    counts integer not null,
    constraint stock_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint stock_part_id_fkey FOREIGN KEY (part_id) REFERENCES stock_parts(id),
    constraint stock_pkey PRIMARY KEY (part_id, depot_id)
);

create table stock_fits (
    part_id bigint not null,
    seq integer not null,
    fleet_id bigint not null,
    make text not null,
    model text not null,
    vehicle_id bigint,
    axle integer not null,
    constraint stock_fits_part_id_fkey FOREIGN KEY (part_id) REFERENCES stock_parts(id),
    constraint stock_fits_pkey PRIMARY KEY (part_id, seq),
    constraint stock_fits_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);

create table stock_parts (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    number text collate "C" not null,
    number_key text collate "C" not null,
    name text not null,
    item text not null,
    per_axle integer not null,
    price double precision,
    lead_days integer not null,
    constraint stock_parts_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint stock_parts_fleet_id_number_key_key UNIQUE (fleet_id, number_key),
    constraint stock_parts_pkey PRIMARY KEY (id)
);
CREATE INDEX stock_parts_number ON public.stock_parts USING btree (number_key, id);

create table thickness_readings (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    vehicle_id bigint not null,
    inspection_id bigint not null,
    day date not null,
    axle integer not null,
    part text collate "C" not null,
    side text collate "C" not null,
    face text collate "C" not null,
    mm double precision not null,
    tripped boolean not null,
    given text not null,
    unit text not null,
    gauge text not null,
    note text not null,
    upload_id bigint not null,
    line integer not null,
    superseded_by bigint,
    set_aside_reason text,
    set_aside_by text,
    set_aside_at timestamp with time zone,
    revision integer not null,
    constraint thickness_readings_pkey PRIMARY KEY (id),
    constraint thickness_readings_superseded_by_fkey FOREIGN KEY (superseded_by) REFERENCES thickness_readings(id)
);
CREATE UNIQUE INDEX thickness_readings_key ON public.thickness_readings USING btree (vehicle_id, day, axle, part, side, face, mm, tripped, revision);

create table track_record (
    fleet_id bigint not null,
    vehicle_id bigint not null,
    axle integer not null,
    part text collate "C" not null,
    removed date not null,
    ahead integer not null,
    fitted date not null,
    left_mm double precision not null,
    left_share double precision not null,
    cross_day double precision,
    cross_km double precision,
    promised date,
    replayed boolean not null,
    day_p10 double precision,
    day_p50 double precision,
    day_p90 double precision,
    km_p10 double precision,
    km_p50 double precision,
    km_p90 double precision,
    at_km double precision,
    constraint track_record_pkey PRIMARY KEY (vehicle_id, axle, part, removed, ahead),
    constraint track_record_vehicle_id_fkey FOREIGN KEY (vehicle_id) REFERENCES vehicles(id)
);
CREATE INDEX track_record_removed ON public.track_record USING btree (removed);

create table upload_places (
    upload_id bigint not null,
    fleet_id bigint not null,
    depot_id bigint not null,
    constraint upload_places_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint upload_places_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint upload_places_pkey PRIMARY KEY (upload_id, fleet_id, depot_id),
    constraint upload_places_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id)
);

create table upload_problems (
    upload_id bigint not null,
    seq integer not null,
    line integer not null,
    col text not null,
    found text not null,
    message text not null,
    refused boolean not null,
    doubtful boolean not null,
    constraint upload_problems_pkey PRIMARY KEY (upload_id, seq),
    constraint upload_problems_upload_id_fkey FOREIGN KEY (upload_id) REFERENCES uploads(id)
);

create table uploads (
    id bigint not null generated always as identity,
    kind text not null,
    name text not null,
    sha256 text collate "C" not null,
    sent_by text not null,
    sent_at timestamp with time zone not null,
    accepted integer not null,
    refused integer not null,
    repeated integer not null,
    doubtful integer not null,
    constraint uploads_pkey PRIMARY KEY (id)
);
CREATE INDEX uploads_hash ON public.uploads USING btree (sha256, kind, id);

create table vehicles (
    id bigint not null generated always as identity,
    fleet_id bigint not null,
    depot_id bigint not null,
    number text collate "C" not null,
    plate text not null,
    category text not null,
    make text not null,
    model text not null,
    year integer not null,
    duty text not null,
    sort_key text collate "C" not null,
    search text collate "C" not null,
    first_used date,
    actuation text not null,
    gross_kg double precision not null,
    written bigint not null,
    constraint vehicles_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint vehicles_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint vehicles_fleet_id_number_key UNIQUE (fleet_id, number),
    constraint vehicles_pkey PRIMARY KEY (id)
);
CREATE INDEX vehicles_depot ON public.vehicles USING btree (depot_id);
CREATE INDEX vehicles_number ON public.vehicles USING btree (number);
CREATE INDEX vehicles_sort ON public.vehicles USING btree (sort_key, id);
CREATE INDEX vehicles_written ON public.vehicles USING btree (written);

create table workshop_days (
    depot_id bigint not null,
    weekday integer not null,
    opens integer not null,
    closes integer not null,
    technicians double precision not null,
    constraint workshop_days_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES workshops(depot_id),
    constraint workshop_days_pkey PRIMARY KEY (depot_id, weekday)
);

create table workshop_hours (
    depot_id bigint not null,
    task text collate "C" not null,
    light double precision not null,
    heavy double precision not null,
    constraint workshop_hours_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES workshops(depot_id),
    constraint workshop_hours_pkey PRIMARY KEY (depot_id, task)
);

create table workshops (
    depot_id bigint not null,
    fleet_id bigint not null,
    bays integer not null,
    overtime double precision not null,
    currency text not null,
    labour_rate double precision not null,
    overtime_rate double precision not null,
    visit_cost double precision not null,
    set_light double precision not null,
    set_heavy double precision not null,
    past_light double precision not null,
    past_heavy double precision not null,
    fluid_months integer not null,
    changed_by text not null,
    changed_at timestamp with time zone not null,
    constraint plan_written TRIGGER DEFERRABLE INITIALLY DEFERRED,
    constraint workshops_depot_id_fkey FOREIGN KEY (depot_id) REFERENCES depots(id),
    constraint workshops_fleet_id_fkey FOREIGN KEY (fleet_id) REFERENCES fleets(id),
    constraint workshops_pkey PRIMARY KEY (depot_id)
);
