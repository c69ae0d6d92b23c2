-- What holds of the data at any time, whatever happened to the processes that
-- wrote them. Each rule is the comment before a query, which gives a line of
-- text for each row that breaks it. One text for both databases; it only reads.
-- psql and sqlite3 run it as well: every row they print is a fault.

-- A vehicle's depot is one of its fleet.
select 'vehicle ' || v.id || ' in depot ' || d.id as what
from vehicles v
join depots d on d.id = v.depot_id
where d.fleet_id <> v.fleet_id;

-- What is kept of a vehicle belongs to a vehicle there is, and to its fleet.
select x.kind || ' of vehicle ' || x.vehicle_id as what
from (
	select 'axle' as kind, vehicle_id, fleet_id from axles
	union all select 'specification', vehicle_id, fleet_id from axle_specs
	union all select 'limit', vehicle_id, fleet_id from axle_limits
	union all select 'inspection', vehicle_id, fleet_id from inspections
	union all select 'reading', vehicle_id, fleet_id from thickness_readings
	union all select 'condition', vehicle_id, fleet_id from inspection_conditions
	union all select 'odometer reading', vehicle_id, fleet_id from odometer_readings
	union all select 'cluster swap', vehicle_id, fleet_id from cluster_swaps
	union all select 'fitment', vehicle_id, fleet_id from fitments
	union all select 'brake test', vehicle_id, fleet_id from brake_tests
	union all select 'correction', vehicle_id, fleet_id from corrections
	union all select 'finding', vehicle_id, fleet_id from findings
	union all select 'forecast', vehicle_id, fleet_id from axle_forecasts
	union all select 'logged forecast', vehicle_id, fleet_id from forecast_log
	union all select 'track record', vehicle_id, fleet_id from track_record
	union all select 'booking', vehicle_id, fleet_id from bookings
	union all select 'proposed visit', vehicle_id, fleet_id from proposal_visits
	union all select 'planned visit', vehicle_id, fleet_id from planned_visits
	union all select 'absence', vehicle_id, fleet_id from absences
	union all select 'job card', vehicle_id, fleet_id from job_cards
	union all select 'change of fluid', vehicle_id, fleet_id from fluid_changes
) x
left join vehicles v on v.id = x.vehicle_id
where v.id is null or v.fleet_id <> x.fleet_id;

-- A reading belongs to an upload that there is, and to an inspection of its vehicle on its day.
select 'reading ' || r.id as what
from thickness_readings r
left join uploads u on u.id = r.upload_id
left join inspections i on i.id = r.inspection_id and i.vehicle_id = r.vehicle_id and i.day = r.day
where u.id is null or i.id is null;

-- An upload has just the rows that it was acknowledged with.
select 'upload ' || u.id || ': ' || u.accepted || ' accepted, ' || coalesce(x.n, 0) || ' there' as what
from uploads u
left join (
	select 'readings' as kind, upload_id, count(*) as n from thickness_readings group by upload_id
	union all select 'fitments', upload_id, count(*) from fitments group by upload_id
	union all
	select 'corrections', upload_id, count(*)
	from (
		select upload_id from thickness_readings
		union all select upload_id from odometer_readings
		union all select upload_id from fitments
	) c
	group by upload_id
) x on x.upload_id = u.id and x.kind = u.kind
where u.kind in ('readings', 'fitments', 'corrections') and u.accepted <> coalesce(x.n, 0);

-- An upload with refused rows says why.
select 'upload ' || u.id as what
from uploads u
where u.refused > 0 and not exists (select 1 from upload_problems p where p.upload_id = u.id and p.refused);

-- No two readings, odometer readings, fitments or brake tests that count say the same.
select 'reading ' || max(id) || ' and ' || min(id) as what
from thickness_readings
where set_aside_at is null
group by vehicle_id, day, axle, part, side, face, mm, tripped
having count(*) > 1
union all
select 'odometer reading ' || max(id) || ' and ' || min(id)
from odometer_readings
where set_aside_at is null
group by vehicle_id, day, km
having count(*) > 1
union all
select 'fitment ' || max(id) || ' and ' || min(id)
from fitments
where set_aside_at is null
group by vehicle_id, day, axle, part, side, face
having count(*) > 1
union all
select 'brake test ' || max(id) || ' and ' || min(id)
from brake_tests
where set_aside_at is null
group by vehicle_id, day, content
having count(*) > 1;

-- A row that stands instead of another is a later one of the same vehicle, and stands for one only; who set a row aside, when and why is known of all that were and of no other.
select x.kind || ' ' || x.id as what
from (
	select 'reading' as kind, o.id, o.vehicle_id, o.superseded_by, s.vehicle_id as of_vehicle, o.set_aside_at as at, o.set_aside_by as person, o.set_aside_reason as why
	from thickness_readings o left join thickness_readings s on s.id = o.superseded_by
	union all
	select 'odometer reading', o.id, o.vehicle_id, o.superseded_by, s.vehicle_id, o.set_aside_at, o.set_aside_by, o.set_aside_reason
	from odometer_readings o left join odometer_readings s on s.id = o.superseded_by
	union all
	select 'fitment', o.id, o.vehicle_id, o.superseded_by, s.vehicle_id, o.set_aside_at, o.set_aside_by, o.set_aside_reason
	from fitments o left join fitments s on s.id = o.superseded_by
	union all
	select 'brake test', o.id, o.vehicle_id, o.superseded_by, s.vehicle_id, o.set_aside_at, o.set_aside_by, o.set_aside_reason
	from brake_tests o left join brake_tests s on s.id = o.superseded_by
) x
where x.superseded_by is not null and (x.of_vehicle is null or x.of_vehicle <> x.vehicle_id or x.superseded_by <= x.id or x.at is null)
	or (x.at is null) <> (x.person is null) or (x.at is null) <> (x.why is null)
union all
select 'reading ' || superseded_by from thickness_readings where superseded_by is not null group by superseded_by having count(*) > 1
union all
select 'odometer reading ' || superseded_by from odometer_readings where superseded_by is not null group by superseded_by having count(*) > 1
union all
select 'fitment ' || superseded_by from fitments where superseded_by is not null group by superseded_by having count(*) > 1
union all
select 'brake test ' || superseded_by from brake_tests where superseded_by is not null group by superseded_by having count(*) > 1;

-- What was set aside or corrected, and nothing else, is so by the last entry about it in the log of corrections.
select x.kind || ' ' || x.id as what
from (
	select 'reading' as kind, id, superseded_by, set_aside_at from thickness_readings
	union all select 'odometer', id, superseded_by, set_aside_at from odometer_readings
	union all select 'fitment', id, superseded_by, set_aside_at from fitments
	union all select 'brake test', id, superseded_by, set_aside_at from brake_tests
) x
left join (
	select record, record_id, max(id) as id
	from corrections
	group by record, record_id
) l on l.record = x.kind and l.record_id = x.id
left join corrections c on c.id = l.id
where (x.set_aside_at is not null or c.id is not null) and (
	c.id is null
	or x.set_aside_at is null and c.act <> 'undone'
	or x.set_aside_at is not null and x.superseded_by is null and c.act <> 'set aside'
	or x.superseded_by is not null and (c.act <> 'corrected' or c.stands_id is null or c.stands_id <> x.superseded_by));

-- A booking has work, and its depot is one of its fleet.
select 'booking ' || b.id as what
from bookings b
left join depots d on d.id = b.depot_id and d.fleet_id = b.fleet_id
where d.id is null or not exists (select 1 from booking_work w where w.booking_id = b.id);

-- No two bookings have the same bay at the same time, and no vehicle two open ones on one day.
select 'booking ' || a.id || ' and ' || b.id as what
from bookings a
join bookings b on b.depot_id = a.depot_id and b.day = a.day and b.id > a.id
where a.state in ('booked', 'done') and b.state in ('booked', 'done') and b.bay = a.bay
		and a.starts < b.starts + b.minutes and b.starts < a.starts + a.minutes
union all
select 'bookings of vehicle ' || vehicle_id || ' on ' || day
from bookings
where state = 'booked'
group by vehicle_id, day
having count(*) > 1;

-- A booking stands where and as the last entry of its history says, and the history begins with its making.
select 'booking ' || b.id as what
from bookings b
left join (
	select booking_id, min(id) as first, max(id) as last
	from booking_changes
	group by booking_id
) h on h.booking_id = b.id
left join booking_changes f on f.id = h.first
left join booking_changes l on l.id = h.last
where h.booking_id is null
	or f.what <> 'booked'
	or l.to_depot <> b.depot_id or l.to_day <> b.day or l.to_bay <> b.bay or l.to_starts <> b.starts or l.to_minutes <> b.minutes
	or b.state <> 'booked' and l.what <> b.state
	or b.state = 'booked' and l.what in ('done', 'missed', 'withdrawn');

-- A part that is asked for, or lies on a shelf, is one of the fleet's, and a shelf holds none or more.
select 'booking ' || w.booking_id || ', part ' || w.part_id as what
from booking_work w
join bookings b on b.id = w.booking_id
left join stock_parts p on p.id = w.part_id and p.fleet_id = b.fleet_id
where w.part_id is not null and p.id is null
union all
select 'stock of part ' || s.part_id || ' in depot ' || s.depot_id
from stock s
left join stock_parts p on p.id = s.part_id and p.fleet_id = s.fleet_id
left join depots d on d.id = s.depot_id and d.fleet_id = s.fleet_id
where p.id is null or d.id is null or s.quantity < 0;

-- A job card is of its booking's vehicle; closed, it says by whom and when, and its booking is no longer open.
select 'job card ' || c.id as what
from job_cards c
left join bookings b on b.id = c.booking_id
where c.booking_id is not null and (b.id is null or b.vehicle_id <> c.vehicle_id)
	or (c.state = 'open') <> (c.closed_at is null)
	or (c.state = 'open') <> (c.closed_by = '')
	or c.state in ('passed', 'not passed') and b.state = 'booked';

-- A part that a job card fitted is a fitment of its vehicle, and what was taken for it was taken for that card.
select 'part ' || p.id || ' of job card ' || p.card_id as what
from job_card_parts p
join job_cards c on c.id = p.card_id
left join fitments f on f.id = p.fitment_id
left join job_card_stock s on s.id = p.stock_id
where f.id is null or f.vehicle_id <> c.vehicle_id or f.superseded_by is not null
	or s.card_id <> p.card_id or s.axle <> p.axle;

-- What a closed job card took is a part of its fleet, off a shelf of its fleet, no more than it used and counted no more often than the shelf was; it is off the shelf while one of the parts noted of it is on, or none was noted.
select 'stock ' || s.id || ' of job card ' || s.card_id as what
from job_card_stock s
join job_cards c on c.id = s.card_id
left join stock_parts p on p.id = s.part_id and p.fleet_id = c.fleet_id
left join depots d on d.id = s.depot_id and d.fleet_id = c.fleet_id
left join stock h on h.part_id = s.part_id and h.depot_id = s.depot_id
left join (
	select x.stock_id, count(case when f.set_aside_at is null then 1 end) as fitted
	from job_card_parts x
	join fitments f on f.id = x.fitment_id
	where x.stock_id is not null
	group by x.stock_id
) n on n.stock_id = s.id
where c.state = 'open' or p.id is null or d.id is null
	or s.used <= 0 or s.quantity not between 0 and s.used
	or s.counts > coalesce(h.counts, 0)
	or (s.put_back_at is null) <> (coalesce(n.fitted, 1) > 0);

-- A forecast is of an axle there is, lies where its vehicle does, and has the position that it is about.
-- Of each position there are 29 quantiles of 8 bytes.
select 'forecast of vehicle ' || f.vehicle_id || ', axle ' || f.axle as what
from axle_forecasts f
left join axles a on a.vehicle_id = f.vehicle_id and a.number = f.axle
left join vehicles v on v.id = f.vehicle_id
left join forecast_positions p on p.vehicle_id = f.vehicle_id and p.axle = f.axle
where a.id is null or v.depot_id <> f.depot_id
	or f.limiting >= 0 and (
		coalesce(p.positions -> f.limiting ->> 0, '') <> f.part
		or coalesce(p.positions -> f.limiting ->> 1, '') <> f.side
		or coalesce(p.positions -> f.limiting ->> 2, '') <> f.face)
	or f.p05 > f.p10 or f.p10 > f.p50 or f.p50 > f.p90 or f.p90 > f.p95
union all
select 'positions of vehicle ' || p.vehicle_id || ', axle ' || p.axle
from forecast_positions p
left join axle_forecasts f on f.vehicle_id = p.vehicle_id and f.axle = p.axle
where f.vehicle_id is null
	or length(p.km_quantiles) <> 232 * json_array_length(p.positions)
	or length(p.day_quantiles) <> 232 * json_array_length(p.positions);

-- An axle that has a forecast has one in the log.
select 'forecast of vehicle ' || f.vehicle_id || ', axle ' || f.axle as what
from axle_forecasts f
where not exists (select 1 from forecast_log l where l.vehicle_id = f.vehicle_id and l.axle = f.axle);

-- A refit that ended says when, and one that works has not.
select 'refit ' || id as what
from refits
where (state = 'working') <> (ended_at is null);

-- A file that was handed in is whole while it is to be worked on, and has its upload when it was taken in.
select 'file ' || k.id as what
from kept_files k
left join (
	select file_id, sum(length(bytes)) as bytes
	from kept_file_parts
	group by file_id
) p on p.file_id = k.id
where k.state in ('checking', 'checked', 'taking', 'taken') and coalesce(p.bytes, 0) <> k.bytes
	or k.state in ('taken', 'done') and k.upload_id is null;

-- Nobody who was stopped is signed in, or has a token or a grant that goes on.
select 'session of account ' || a.id as what
from accounts a
where a.stopped_at is not null and (
	exists (select 1 from sessions s where s.account_id = a.id)
	or exists (select 1 from api_tokens k where k.account_id = a.id and k.ended_at is null)
	or exists (select 1 from grants g where g.account_id = a.id and g.ended_at is null));

-- A run of scheduled work that ended says when, and one that waits or runs has not.
select 'run ' || id || ' of ' || job as what
from job_runs
where (state in ('waiting', 'running')) <> (ended_at is null);

-- A visit that was proposed is of its proposal's fleet and in a depot of it.
select 'proposed visit ' || v.id as what
from proposal_visits v
join proposals p on p.id = v.proposal_id
join depots d on d.id = v.depot_id
where v.fleet_id <> p.fleet_id or d.fleet_id <> p.fleet_id;
