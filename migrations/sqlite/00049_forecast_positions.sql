-- The same as in ../postgres, where the reasons are.

-- +goose Up

create table forecast_positions (
    vehicle_id    integer not null,
    axle          integer not null,
    positions     text not null, -- JSON: an array of each, as below; axle_forecasts.limiting counts in it
    -- Of all positions, one behind the other, each as in axle_forecasts; all bits are set
    -- where a position's are not known.
    km_quantiles  blob not null,
    day_quantiles blob not null,
    primary key (vehicle_id, axle)
) strict;

insert into forecast_positions (vehicle_id, axle, positions, km_quantiles, day_quantiles)
select
    vehicle_id,
    axle,
    json_group_array(json_array(
        part,
        side,
        face,
        new_mm,
        limit_mm,
        thickness_mm,
        rate,
        readings,
        since,
        json(case since_known when 1 then 'true' else 'false' end)) order by seq),
    unhex(group_concat(case length(km_quantiles) when 232 then hex(km_quantiles) else replace(hex(zeroblob(232)), '0', 'F') end, '' order by seq)),
    unhex(group_concat(case length(day_quantiles) when 232 then hex(day_quantiles) else replace(hex(zeroblob(232)), '0', 'F') end, '' order by seq))
from position_forecasts
group by vehicle_id, axle;
drop table position_forecasts;
