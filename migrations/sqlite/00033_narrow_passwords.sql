-- +goose Up

-- The password was chosen by a link that an admin of a part made, and could have
-- been chosen by that admin. It ends when the account gets a role elsewhere.
alter table accounts add column narrow integer not null default 0;
