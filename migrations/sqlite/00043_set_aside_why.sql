-- The same as in ../postgres; the reasons are there.

-- +goose Up

alter table proposal_visits add column decided_why text not null default '';
