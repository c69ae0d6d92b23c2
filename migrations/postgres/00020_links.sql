-- +goose Up

-- Made by an admin of everything. The other links of an account end when it gets
-- a role: who made them could perhaps not have made them of such an account.
alter table links add column whole boolean not null default false;
