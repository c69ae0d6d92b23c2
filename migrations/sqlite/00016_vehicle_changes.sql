-- The same table as in ../postgres; the reasons are there.

-- +goose Up

create table vehicle_changes (
    id integer primary key
) strict;
