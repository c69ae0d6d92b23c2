-- Indexes that the plans of every page's statements showed to be missing.

-- +goose Up

-- What left a depot lately, for its calendar.
create index booking_changes_left on booking_changes (from_depot, at);
