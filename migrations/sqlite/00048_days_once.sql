-- The same as in ../postgres, where the reasons are.

-- +goose Up

delete from absences where id not in (
    select min(id) from absences group by vehicle_id, first_day, last_day, weekdays, reason);
create unique index absences_once on absences
    (vehicle_id, coalesce(first_day, ''), coalesce(last_day, ''), weekdays, reason);
drop index absences_vehicle;

delete from planned_visits where id not in (
    select min(id) from planned_visits group by vehicle_id, day, depot_id, what);
create unique index planned_visits_once on planned_visits (vehicle_id, day, coalesce(depot_id, 0), what);
drop index planned_visits_vehicle;

delete from closures where id not in (
    select min(id) from closures group by depot_id, last_day, first_day, technicians, reason);
create unique index closures_once on closures (depot_id, last_day, first_day, technicians, reason);
drop index closures_depot;
