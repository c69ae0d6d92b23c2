-- The same days are kept once: two who send the same file, or press the same button
-- twice, at one time left two rows, for each looked before the other had written.

-- +goose Up

delete from absences a using absences b
where a.id > b.id and a.vehicle_id = b.vehicle_id and a.first_day is not distinct from b.first_day
    and a.last_day is not distinct from b.last_day and a.weekdays = b.weekdays and a.reason = b.reason;
create unique index absences_once on absences
    (vehicle_id, coalesce(first_day, date '-infinity'), coalesce(last_day, date 'infinity'), weekdays, reason);
drop index absences_vehicle;

delete from planned_visits a using planned_visits b
where a.id > b.id and a.vehicle_id = b.vehicle_id and a.day = b.day
    and a.depot_id is not distinct from b.depot_id and a.what = b.what;
create unique index planned_visits_once on planned_visits (vehicle_id, day, coalesce(depot_id, 0), what);
drop index planned_visits_vehicle;

delete from closures a using closures b
where a.id > b.id and a.depot_id = b.depot_id and a.first_day = b.first_day
    and a.last_day = b.last_day and a.technicians = b.technicians and a.reason = b.reason;
create unique index closures_once on closures (depot_id, last_day, first_day, technicians, reason);
drop index closures_depot;
