-- The same table as in ../postgres; the reasons are there.

-- +goose Up

create table audit_log (
    id         integer primary key,
    at         text not null,
    done_by    text not null, -- name then; blank: the program itself
    account_id integer references accounts, -- null: not somebody signed in
    token_id   integer references api_tokens, -- null: not a program of theirs
    via        text not null, -- page, api, command, work
    origin     text not null, -- network address, or user of the machine
    request    text not null, -- id of the request, as in the program's log
    act        text not null,
    record     text not null, -- kind of what was changed
    record_id  integer, -- null: there is one of it, or there are several
    fleet_id   integer references fleets, -- null: it belongs to none
    depot_id   integer references depots, -- null: to the fleet, or to several depots
    detail     text not null
) strict;
create index audit_log_at on audit_log (at);
create index audit_log_record on audit_log (record, record_id, id);
create index audit_log_fleet on audit_log (fleet_id, id) where fleet_id is not null;
create index audit_log_depot on audit_log (depot_id, id) where depot_id is not null;
create index audit_log_done_by on audit_log (done_by, id);

-- +goose StatementBegin
create trigger audit_log_no_update before update on audit_log
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger audit_log_no_delete before delete on audit_log
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;
-- +goose StatementEnd
-- INSERT OR REPLACE takes the old row away without its trigger for that.
-- +goose StatementBegin
create trigger audit_log_no_replace before insert on audit_log
when exists (select 1 from audit_log where id = new.id)
begin
    select raise(abort, 'audit_log: rows are added, and never changed or taken away');
end;
-- +goose StatementEnd
