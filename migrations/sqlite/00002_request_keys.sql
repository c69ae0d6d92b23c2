-- The same table as in ../postgres; the reasons are there.

-- +goose Up

create table request_keys (
    sent_by   text not null,
    key       text not null,
    upload_id integer not null references uploads,
    primary key (sent_by, key)
) strict;
