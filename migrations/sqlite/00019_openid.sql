-- +goose Up

-- Who a person is to an OpenID Connect provider: issuer and subject are the same
-- person for good, an e-mail address need not be.
create table openid_subjects (
    issuer     text not null,
    subject    text not null,
    account_id integer not null references accounts,
    bound_at   text not null,
    primary key (issuer, subject)
) strict;
create unique index openid_subjects_account on openid_subjects (account_id, issuer);
