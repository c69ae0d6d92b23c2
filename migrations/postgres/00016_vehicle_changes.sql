-- Every process holds in memory what a search looks in. A row for each time that
-- vehicles were written, in the same transaction, tells the others to read it
-- again. Not a count in one row: two that write vehicles would wait for each other.

-- +goose Up

create table vehicle_changes (
    id bigint generated always as identity primary key
);
