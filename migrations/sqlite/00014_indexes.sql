-- Indexes that the plans of every page's statements showed to be missing.

-- +goose Up

-- What left a depot lately, for its calendar.
create index booking_changes_left on booking_changes (from_depot, at);

-- The vehicles that a small file names, whatever their fleet.
create index vehicles_number on vehicles (number);

-- The orders of the due-soon list, with what it is filtered by: rows that a
-- filter leaves out are passed over in the index.
drop index axle_forecasts_limit;
drop index axle_forecasts_km;
drop index axle_forecasts_thickness;
drop index axle_forecasts_narrowing;
create index axle_forecasts_limit on axle_forecasts (by_limit, vehicle_id, axle, by_due, fleet_id, depot_id);
create index axle_forecasts_km on axle_forecasts (by_km, vehicle_id, axle, by_due, fleet_id, depot_id);
create index axle_forecasts_thickness on axle_forecasts (by_thickness, vehicle_id, axle, by_due, fleet_id, depot_id);
create index axle_forecasts_narrowing on axle_forecasts (by_narrowing, vehicle_id, axle, by_due, fleet_id, depot_id);
