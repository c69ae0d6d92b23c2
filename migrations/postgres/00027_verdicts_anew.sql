-- +goose Up

-- What a verdict rested on beside the test: category, mass, dates and axles of the
-- vehicle, as JSON; null where that was not kept. When they are corrected the test
-- is judged anew, by the same rule set, and both verdicts stay.
alter table brake_test_verdicts add column facts text;

create table brake_test_rejudgements (
    test_id   bigint not null references brake_tests,
    number    integer not null, -- 1 = the first after brake_test_verdicts; the greatest is in force
    fleet_id  bigint not null,
    rule_set  text not null,
    verdict   text not null, -- also: not judged
    judgement text not null,
    facts     text not null,
    why       text not null, -- what was corrected, in words
    judged_at timestamptz not null,
    primary key (test_id, number)
);
