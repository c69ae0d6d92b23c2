-- The same as in ../postgres, where the reasons are.

-- +goose Up

create index bookings_time on bookings (day, depot_id, starts, id);

drop index proposal_visits_open;
drop index proposal_visits_run;
create index proposal_visits_open on proposal_visits (depot_id, state, coalesce(day, book_by, CAST('9999-12-31' AS text)), starts, id);
create index proposal_visits_run on proposal_visits (proposal_id, coalesce(day, book_by, CAST('9999-12-31' AS text)), depot_id, starts, id);
create index proposal_visits_days on proposal_visits (state, coalesce(day, book_by, CAST('9999-12-31' AS text)), depot_id, starts, id);

create index stock_parts_number on stock_parts (number_key, id);
