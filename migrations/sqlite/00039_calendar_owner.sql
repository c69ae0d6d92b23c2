-- The same as in ../postgres; the reasons are there.

-- +goose Up

alter table calendar_feeds add column account_id integer references accounts;
