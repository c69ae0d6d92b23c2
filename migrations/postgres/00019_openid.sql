-- +goose Up

-- Who a person is to an OpenID Connect provider: issuer and subject are the same
-- person for good, an e-mail address need not be.
create table openid_subjects (
    issuer     text collate "C" not null,
    subject    text collate "C" not null,
    account_id bigint not null references accounts,
    bound_at   timestamptz not null,
    primary key (issuer, subject)
);
create unique index openid_subjects_account on openid_subjects (account_id, issuer);
