-- What was left when a forecast was made, for what became of it since: the
-- position that was first to reach its limit and how fast it wore. Null in rows
-- from before, and where nothing was known.

-- +goose Up

alter table forecast_log add column part text;
alter table forecast_log add column thickness_mm real; -- as estimated
alter table forecast_log add column new_mm real;
alter table forecast_log add column limit_mm real;
alter table forecast_log add column rate real; -- mm per 10,000 km
