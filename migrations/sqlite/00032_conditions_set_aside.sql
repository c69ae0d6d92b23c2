-- The same as in ../postgres; the reasons are there.

-- +goose Up

alter table inspection_conditions add column superseded_by integer references inspection_conditions;
