package store

import (
	"encoding/json"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// duePlan is what rows of the due-soon list say besides the forecast: what is booked
// and proposed for each axle, what its workshop expects, and what its place is called.
// Only what is open is in it.
type duePlan struct {
	booked         map[AxleKey]AxleBooking // the next one
	proposed       map[AxleKey]AxleVisit
	damage         map[int64]depotDamage // by depot, where somebody has set its workshop
	fleets, depots map[int64]string
}

// AxleVisit is a proposed booking of an axle.
type AxleVisit struct {
	Day      fleet.Date
	Cost     *float64 // of the whole visit
	Currency string
}

// depotDamage is what a workshop expects of damage on an axle that comes in past its
// limit.
type depotDamage struct {
	light, heavy float64
	currency     string
}

// planMark returns a mark of all that is in duePlan, as t sees it: whoever writes any
// of that changes the mark by a trigger, and nothing else does. It is blank where what
// is read must not be kept.
func (t *tx) planMark() (mark string, err error) {
	if t.version == "" || t.marked != "" {
		return t.marked, nil
	}
	const query = `select cast(mark as text) from plan_written`
	read := func() (mark string, err error) {
		err = t.one([]any{&mark}, query)
		return mark, err
	}
	if t.db.dialect == SQLite { // who asked a file for the version may see what was written after
		mark, err = read()
	} else {
		mark, err = listed(t, query, nil, read)
	}
	if err != nil {
		return "", err
	}
	since, _ := cutVersion(t.version)
	t.marked = since + " " + mark
	return t.marked, nil
}

// plan returns what is booked and proposed as t sees it. It is everybody's: not to be
// changed.
func (t *tx) plan() (*duePlan, error) {
	mark, err := t.planMark()
	if err != nil {
		return nil, err
	}
	return keptOf(t, mark, t.db.plans, 1, "plan", nil, t.readPlan)
}

// ofPlaces is listed for what is read of fleets and depots alone.
func ofPlaces[V any](t *tx, query string, args []any, read func() (V, error)) (list V, err error) {
	mark, err := t.planMark()
	if err != nil {
		return list, err
	}
	x, err := keptOf(t, mark, t.db.places, maxLists, query, args, func() (any, error) { return read() })
	if err != nil {
		return list, err
	}
	return x.(V), nil
}

func (t *tx) readPlan() (*duePlan, error) {
	p := &duePlan{booked: map[AxleKey]AxleBooking{}, proposed: map[AxleKey]AxleVisit{}, damage: map[int64]depotDamage{}}
	err := t.each(nextBooked(p.booked), `
		select `+axleBookingColumns+`
		from bookings b
		join booking_work x on x.booking_id = b.id
		join depots d on d.id = b.depot_id
		left join workshops s on s.depot_id = b.depot_id
		where b.state = 'booked' and x.axle > 0`)
	if err != nil {
		return nil, err
	}
	of := map[AxleKey]int64{}
	err = t.each(func(r *sqlx.Rows) error {
		var id, vehicle int64
		var v AxleVisit
		var work []byte
		var items []fleet.WorkItem
		if err := r.Scan(&id, &vehicle, &v.Day, &v.Cost, &work, &v.Currency); err != nil {
			return err
		}
		if err := json.Unmarshal(work, &items); err != nil {
			return err
		}
		for _, axle := range fleet.Axles(items) {
			k := AxleKey{vehicle, axle}
			if was := p.proposed[k]; v.Day > was.Day || v.Day == was.Day && id > of[k] {
				p.proposed[k], of[k] = v, id
			}
		}
		return nil
	}, `
		select p.id, p.vehicle_id, p.day, p.cost, p.work, coalesce(s.currency, '')
		from depots d
		cross join proposal_visits p
		left join workshops s on s.depot_id = p.depot_id
		where p.depot_id = d.id and p.state = 'open' and p.advice = 'book' and p.day is not null`)
	if err != nil {
		return nil, err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		var d depotDamage
		err := r.Scan(&id, &d.light, &d.heavy, &d.currency)
		p.damage[id] = d
		return err
	}, `select depot_id, past_light, past_heavy, currency from workshops`)
	if err != nil {
		return nil, err
	}
	if p.fleets, err = t.namesOf("fleets"); err != nil {
		return nil, err
	}
	p.depots, err = t.namesOf("depots")
	return p, err
}

// namesOf returns the names of all fleets or depots.
func (t *tx) namesOf(table string) (map[int64]string, error) {
	of := map[int64]string{}
	err := t.each(func(r *sqlx.Rows) error {
		var id int64
		var name string
		err := r.Scan(&id, &name)
		of[id] = name
		return err
	}, `select p.id, p.name from `+table+` p`)
	return of, err
}

// fill adds what is planned for the axle of a row.
func (p *duePlan) fill(r *dueRowHeld) DueRow {
	row := r.DueRow
	row.Fleet, row.Depot = p.fleets[r.fleet], p.depots[r.depot]
	k := AxleKey{row.VehicleID, row.Axle}
	if b, ok := p.booked[k]; ok {
		row.Booked = &b
	}
	if v, ok := p.proposed[k]; ok {
		row.Proposed = &v
	}
	if d, ok := p.damage[r.depot]; ok && r.waits {
		w := d.waiting(r.day, r.heavy)
		row.Waiting = &w
	}
	return row
}
