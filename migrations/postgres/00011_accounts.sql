-- +goose Up

-- People who sign in.
create table accounts (
    id            bigint generated always as identity primary key,
    name          text not null,
    email         text not null,
    email_key     text collate "C" not null, -- lower case
    password      text not null, -- argon2id; blank: none yet
    added_by      text not null,
    added_at      timestamptz not null,
    signed_in_at  timestamptz, -- last
    stopped_by    text,
    stopped_at    timestamptz
);
create unique index accounts_email on accounts (email_key) where stopped_at is null;

-- What they may do, and where. One that ended stays: it says who could.
create table grants (
    id         bigint generated always as identity primary key,
    account_id bigint not null references accounts,
    role       text collate "C" not null, -- manager, planner, technician, admin
    fleet_id   bigint references fleets, -- null: everything
    depot_id   bigint references depots, -- null: the whole fleet
    given_by   text not null,
    given_at   timestamptz not null,
    ended_by   text,
    ended_at   timestamptz,
    check (depot_id is null or fleet_id is not null)
);
create index grants_account on grants (account_id) where ended_at is null;

-- Secrets are kept as their SHA-256 in hex, so that a copy of the database
-- opens nothing.
create table sessions (
    id         bigint generated always as identity primary key,
    sha256     text collate "C" not null unique,
    account_id bigint not null references accounts,
    started_at timestamptz not null,
    seen_at    timestamptz not null,
    browser    text not null
);
create index sessions_account on sessions (account_id);

-- Addresses at which a password can be chosen, once.
create table links (
    sha256     text collate "C" primary key,
    account_id bigint not null references accounts,
    made_by    text not null,
    made_at    timestamptz not null,
    until      timestamptz not null
);
create index links_account on links (account_id);

-- Wrong passwords of late, by account and by address, for all processes.
create table sign_in_failures (
    subject text collate "C" not null,
    at      timestamptz not null
);
create index sign_in_failures_subject on sign_in_failures (subject, at);

-- For programs: they may do some of what their account may.
create table api_tokens (
    id         bigint generated always as identity primary key,
    sha256     text collate "C" not null unique,
    account_id bigint not null references accounts,
    name       text not null,
    rights     text collate "C" not null, -- parted by blanks
    made_at    timestamptz not null,
    until      timestamptz not null,
    used_at    timestamptz, -- last
    ended_by   text,
    ended_at   timestamptz
);
create index api_tokens_account on api_tokens (account_id);
