-- The same as in ../postgres; the reasons are there. A file has one writer at a
-- time, and no numbers of transactions: the next number above all others.

-- +goose Up

alter table vehicles add column written integer not null default 0;
create index vehicles_written on vehicles (written);
drop table vehicle_changes;
