-- The same table as in ../postgres; the reasons are there.
-- +goose Up

alter table brake_test_verdicts add column facts text;

create table brake_test_rejudgements (
    test_id   integer not null references brake_tests,
    number    integer not null, -- 1 = the first after brake_test_verdicts; the greatest is in force
    fleet_id  integer not null,
    rule_set  text not null,
    verdict   text not null, -- also: not judged
    judgement text not null,
    facts     text not null,
    why       text not null, -- what was corrected, in words
    judged_at text not null,
    primary key (test_id, number)
) strict;
