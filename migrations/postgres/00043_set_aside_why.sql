-- Why a proposed visit was set aside, in the words of who did; blank where nothing
-- was said.

-- +goose Up

alter table proposal_visits add column decided_why text not null default '';
