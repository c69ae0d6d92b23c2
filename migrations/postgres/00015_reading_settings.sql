-- How each account wants distances, thicknesses and days said. What is kept
-- stays km, mm and days. A blank is one that was never chosen.

-- +goose Up

alter table accounts add column distance text not null default ''; -- km, mi
alter table accounts add column thickness text not null default ''; -- mm, in
alter table accounts add column days text not null default ''; -- see internal/units
