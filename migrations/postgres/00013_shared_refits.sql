-- +goose Up

-- A forecast of all vehicles anew, which any number of processes work on.
create table refits (
    id         bigint generated always as identity primary key,
    model      text collate "C" not null,
    as_of      date not null,
    risk       double precision not null,
    scope      text collate "C" not null, -- whose forecasts are made, JSON
    uploads    bigint not null, -- that there were when it began
    learn_only boolean not null, -- no forecasts are made
    step       integer not null, -- all shares work on, from 0
    learning   boolean not null, -- else the step is the last: forecasting
    knows      text not null, -- JSON: what the steps before gave; once learned, the model's values
    state      text collate "C" not null, -- working, done, failed, superseded
    message    text not null, -- why it failed
    begun_at   timestamptz not null,
    ended_at   timestamptz,
    -- Who joins what the shares gave; free once the lease is over.
    holder     text collate "C",
    until      timestamptz,
    tries      integer not null -- in this step
);
create unique index refits_working on refits (model, as_of, risk, scope, learn_only) where state = 'working';

-- A share is a range of vehicles. It is one process's at a time, by a lease.
create table refit_shares (
    refit_id   bigint not null references refits on delete cascade,
    number     integer not null, -- from 0, in order of vehicles
    first_id   bigint not null,
    last_id    bigint not null,
    vehicles   integer not null, -- in the range
    done       integer not null, -- steps
    holder     text collate "C", -- free once the lease is over
    until      timestamptz,
    worker     text not null, -- process that took it last, for people
    tries      integer not null, -- in this step
    through    bigint not null, -- forecasts are stored of vehicles up to this one
    forecast   integer not null, -- vehicles
    axles      integer not null, -- of them
    heard      bytea, -- in this step, until it is joined
    primary key (refit_id, number)
);
