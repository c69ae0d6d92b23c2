-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

alter table uploads add column doubtful integer not null default 0;
alter table upload_problems add column doubtful integer not null default 0;

create table cluster_swaps (
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

create table kept_files (
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
create index kept_files_expiry on kept_files (expires_at);

create table kept_file_parts (
    file_id integer not null references kept_files on delete cascade,
    seq     integer not null,
    bytes   blob not null,
    primary key (file_id, seq)
) strict;
