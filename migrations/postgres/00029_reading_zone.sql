-- By which clock an account wants times said: an IANA name; blank = that of most
-- depots. What is kept stays UTC.

-- +goose Up

alter table accounts add column time_zone text not null default '';
