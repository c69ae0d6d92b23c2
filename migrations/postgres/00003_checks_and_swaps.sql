-- +goose Up

-- Rows that were taken although something about them is in doubt.
alter table uploads add column doubtful integer not null default 0;
alter table upload_problems add column doubtful boolean not null default false;

-- Changes of the instrument cluster that somebody wrote down, with what the
-- old and the new one showed on the day.
create table cluster_swaps (
    id               bigint generated always as identity primary key,
    fleet_id         bigint not null,
    vehicle_id       bigint not null references vehicles,
    day              date not null,
    old_km           double precision not null,
    new_km           double precision not null,
    upload_id        bigint not null references uploads,
    -- Set aside, never deleted; superseded_by is the row that stands instead.
    superseded_by    bigint references cluster_swaps,
    set_aside_reason text,
    set_aside_by     text,
    set_aside_at     timestamptz,
    unique (vehicle_id, day, old_km, new_km)
);

-- Files handed in and not yet done with: between the check and the taking in,
-- and while a large one is worked on. They go when they expire.
create table kept_files (
    id         bigint generated always as identity primary key,
    sha256     text collate "C" not null, -- of its bytes, hex
    name       text not null, -- file name as sent
    kind       text not null, -- as asked for; blank = found by its header
    date_order text not null, -- as asked for
    sent_by    text collate "C" not null,
    scope      text not null, -- what the sender may change, JSON
    bytes      bigint not null,
    sent_at    timestamptz not null,
    expires_at timestamptz not null,
    state      text not null, -- checking, checked, taking, taken, done, unreadable, failed
    read_bytes bigint not null, -- of the file, by the present work
    read_rows  bigint not null,
    report     text not null, -- what the check found, JSON; blank before
    fault      text not null, -- why it cannot be read, or what went wrong; blank when nothing did
    upload_id  bigint references uploads,
    unique (sha256, sent_by, kind, date_order)
);
create index kept_files_expiry on kept_files (expires_at);

create table kept_file_parts (
    file_id bigint not null references kept_files on delete cascade,
    seq     integer not null,
    bytes   bytea not null,
    primary key (file_id, seq)
);
