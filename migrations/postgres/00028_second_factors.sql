-- +goose Up

-- The second factor of an account: codes after RFC 6238. The secret is kept as it
-- is, for codes are worked out of it.
create table second_factors (
    account_id   bigint primary key references accounts,
    secret       text not null, -- base32
    made_at      timestamptz not null,
    confirmed_at timestamptz, -- by a first code; null: is being set up, and asked for of nobody
    last_step    bigint not null -- of the last code taken, in steps since 1970: each counts once
);

-- For who has lost the app: each counts once, and is gone then.
create table recovery_codes (
    sha256     text collate "C" primary key,
    account_id bigint not null references accounts
);
create index recovery_codes_account on recovery_codes (account_id);

-- Sign-ins whose password was right and whose code is awaited.
create table sign_ins_begun (
    sha256     text collate "C" primary key,
    account_id bigint not null references accounts,
    begun_at   timestamptz not null
);
create index sign_ins_begun_account on sign_ins_begun (account_id);
