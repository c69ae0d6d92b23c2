-- +goose Up

-- Who did what to which record, and when. Rows are added in the transaction of
-- what they tell of, and stay: triggers refuse everything else.
create table audit_log (
    id         bigint generated always as identity primary key,
    at         timestamptz not null,
    done_by    text not null, -- name then; blank: the program itself
    account_id bigint references accounts, -- null: not somebody signed in
    token_id   bigint references api_tokens, -- null: not a program of theirs
    via        text collate "C" not null, -- page, api, command, work
    origin     text not null, -- network address, or user of the machine
    request    text collate "C" not null, -- id of the request, as in the program's log
    act        text collate "C" not null,
    record     text collate "C" not null, -- kind of what was changed
    record_id  bigint, -- null: there is one of it, or there are several
    fleet_id   bigint references fleets, -- null: it belongs to none
    depot_id   bigint references depots, -- null: to the fleet, or to several depots
    detail     text not null
);
create index audit_log_at on audit_log (at);
create index audit_log_record on audit_log (record, record_id, id);
create index audit_log_fleet on audit_log (fleet_id, id) where fleet_id is not null;
create index audit_log_depot on audit_log (depot_id, id) where depot_id is not null;
create index audit_log_done_by on audit_log (done_by, id);

-- +goose StatementBegin
create function audit_log_stays() returns trigger language plpgsql as $$
begin
    raise exception 'audit_log: rows are added, and never changed or taken away';
end
$$;
-- +goose StatementEnd
create trigger audit_log_stays before update or delete or truncate on audit_log
    for each statement execute function audit_log_stays();
-- Also for a session that has switched ordinary triggers off.
alter table audit_log enable always trigger audit_log_stays;
