-- What a search looks in is held in memory by every process. Which vehicles were
-- written since it was read, the vehicles say themselves: by the transaction that
-- wrote each last. A row of vehicle_changes for every time that any was written
-- said only that all are to be read again, and they were never removed.

-- +goose Up

alter table vehicles add column written bigint not null default 0;
create index vehicles_written on vehicles (written);
drop table vehicle_changes;
