-- The same as in ../postgres; the reasons are there.

-- +goose Up

alter table axle_forecasts add column written integer not null default 0;
create index axle_forecasts_written on axle_forecasts (written);
drop index axle_forecasts_limit;
drop index axle_forecasts_km;
drop index axle_forecasts_thickness;
drop index axle_forecasts_narrowing;
