-- The same as in ../postgres, where the reasons are.

-- +goose Up

alter table stock add column counts integer not null default 0; -- how often a person or a file said how many lie there

create table job_card_stock (
    id          integer primary key,
    card_id     integer not null references job_cards,
    depot_id    integer not null references depots,
    axle        integer not null,
    part_id     integer not null references stock_parts,
    used        integer not null, -- by the work
    quantity    integer not null, -- of them, what lay on the shelf and was taken the last time
    counts      integer not null, -- the shelf's, when the card was closed
    taken_at    text not null,
    put_back_at text -- null: it is off the shelf
) strict;

alter table job_card_parts add column stock_id integer references job_card_stock;
create index job_card_parts_stock on job_card_parts (stock_id) where stock_id is not null;

with recursive follows as (
    select id, superseded_by as stands from fitments where superseded_by is not null
    union all
    select o.id, f.superseded_by
    from follows o
    join fitments f on f.id = o.stands
    where f.superseded_by is not null
)
update job_card_parts
set fitment_id = (
    select o.stands
    from follows o
    join fitments f on f.id = o.stands
    where o.id = job_card_parts.fitment_id and f.superseded_by is null)
where fitment_id in (select id from follows);
