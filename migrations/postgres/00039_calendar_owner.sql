-- Who made a calendar, so that it says quantities and days as they want them;
-- null where that was before, or nobody with an account.

-- +goose Up

alter table calendar_feeds add column account_id bigint references accounts;
