-- +goose Up

-- What was said of a brake test by the rule set in force then: a later change of
-- rules says nothing else of it. Append only, one row for each test judged.
create table brake_test_verdicts (
    test_id   bigint not null primary key references brake_tests,
    fleet_id  bigint not null,
    rule_set  text not null, -- id
    verdict   text not null, -- meets, unclear, fails, dangerous
    judgement text not null, -- JSON: each value checked, its limit and where that is published
    judged_at timestamptz not null
);
