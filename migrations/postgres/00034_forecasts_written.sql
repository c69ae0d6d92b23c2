-- What the due-soon list is filtered and ordered by is held in memory by every
-- process. Which axles were written since it was read, they say themselves, as
-- vehicles do: by the transaction that wrote each last. The indexes that had the
-- list's orders are written with every forecast and read by nothing any more.

-- +goose Up

alter table axle_forecasts add column written bigint not null default 0;
create index axle_forecasts_written on axle_forecasts (written);
drop index axle_forecasts_limit;
drop index axle_forecasts_km;
drop index axle_forecasts_thickness;
drop index axle_forecasts_narrowing;
