-- +goose Up

-- Keys by which a sender names a request, so that one sent again is known.
create table request_keys (
    sent_by   text collate "C" not null,
    key       text collate "C" not null,
    upload_id bigint not null references uploads,
    primary key (sent_by, key)
);
