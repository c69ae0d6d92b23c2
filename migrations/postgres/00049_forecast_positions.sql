-- The positions of a forecast, a row an axle: nobody asks for one of them, and to write
-- and read six rows of each axle took a tenth of the server's time for an upload.
-- Rows of 3 kB stay in their page: compressed or put elsewhere they would cost more than
-- they save. An older process that still runs waits until they are moved, and then finds
-- no table, rather than that it writes rows nobody reads.

-- +goose Up

lock table position_forecasts in access exclusive mode;
create table forecast_positions (
    vehicle_id    bigint not null,
    axle          integer not null,
    positions     json not null, -- an array of each, as below; axle_forecasts.limiting counts in it
    -- Of all positions, one behind the other, each as in axle_forecasts; all bits are set
    -- where a position's are not known.
    km_quantiles  bytea not null,
    day_quantiles bytea not null,
    primary key (vehicle_id, axle)
) with (toast_tuple_target = 8160);

insert into forecast_positions (vehicle_id, axle, positions, km_quantiles, day_quantiles)
select
    vehicle_id,
    axle,
    json_agg(json_build_array(
        part,
        side,
        face,
        new_mm,
        limit_mm,
        thickness_mm,
        rate,
        readings,
        since,
        since_known) order by seq),
    string_agg(case length(km_quantiles) when 232 then km_quantiles else decode(repeat('f', 464), 'hex') end, '' order by seq),
    string_agg(case length(day_quantiles) when 232 then day_quantiles else decode(repeat('f', 464), 'hex') end, '' order by seq)
from position_forecasts
group by vehicle_id, axle;
drop table position_forecasts;
