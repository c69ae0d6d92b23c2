-- +goose Up

-- A condition is set aside as readings are. Nothing stands instead of one so far.
alter table inspection_conditions add column superseded_by bigint references inspection_conditions;
