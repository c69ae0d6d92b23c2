-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

create table accounts (
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
) strict;
create unique index accounts_email on accounts (email_key) where stopped_at is null;

create table grants (
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
create index grants_account on grants (account_id) where ended_at is null;

create table sessions (
    id         integer primary key,
    sha256     text not null unique,
    account_id integer not null references accounts,
    started_at text not null,
    seen_at    text not null,
    browser    text not null
) strict;
create index sessions_account on sessions (account_id);

create table links (
    sha256     text primary key,
    account_id integer not null references accounts,
    made_by    text not null,
    made_at    text not null,
    until      text not null
) strict;
create index links_account on links (account_id);

create table sign_in_failures (
    subject text not null,
    at      text not null
) strict;
create index sign_in_failures_subject on sign_in_failures (subject, at);

create table api_tokens (
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
create index api_tokens_account on api_tokens (account_id);
