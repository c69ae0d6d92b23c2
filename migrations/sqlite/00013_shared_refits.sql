-- The same tables as in ../postgres; the reasons are there.

-- +goose Up

-- A forecast of all vehicles anew, which any number of processes work on.
create table refits (
    id         integer primary key,
    model      text not null,
    as_of      text not null,
    risk       real not null,
    scope      text not null, -- whose forecasts are made, JSON
    uploads    integer not null, -- that there were when it began
    learn_only integer not null, -- no forecasts are made
    step       integer not null, -- all shares work on, from 0
    learning   integer not null, -- else the step is the last: forecasting
    knows      text not null, -- JSON: what the steps before gave; once learned, the model's values
    state      text not null, -- working, done, failed, superseded
    message    text not null, -- why it failed
    begun_at   text not null,
    ended_at   text,
    -- Who joins what the shares gave; free once the lease is over.
    holder     text,
    until      text,
    tries      integer not null -- in this step
) strict;
create unique index refits_working on refits (model, as_of, risk, scope, learn_only) where state = 'working';

-- A share is a range of vehicles. It is one process's at a time, by a lease.
create table refit_shares (
    refit_id   integer not null references refits on delete cascade,
    number     integer not null, -- from 0, in order of vehicles
    first_id   integer not null,
    last_id    integer not null,
    vehicles   integer not null, -- in the range
    done       integer not null, -- steps
    holder     text, -- free once the lease is over
    until      text,
    worker     text not null, -- process that took it last, for people
    tries      integer not null, -- in this step
    through    integer not null, -- forecasts are stored of vehicles up to this one
    forecast   integer not null, -- vehicles
    axles      integer not null, -- of them
    heard      blob, -- in this step, until it is joined
    primary key (refit_id, number)
) strict;
