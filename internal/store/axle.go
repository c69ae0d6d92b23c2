package store

import (
	"context"
	"maps"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// AxleKey names an axle.
type AxleKey struct {
	VehicleID int64
	Axle      int // 1 = front
}

func axleKeyOf(a *fleet.Axle) AxleKey { return AxleKey{a.VehicleID, a.Number} }

var (
	stagedAxles = stage{
		name:    "staged_axles",
		from:    "axles",
		columns: []string{"vehicle_id", "number", "brake"},
	}
	stagedSpecs = stage{
		name:    "staged_specs",
		from:    "axle_specs",
		columns: []string{"vehicle_id", "axle", "part", "new_mm", "limit_mm", "source"},
	}
)

// Axles adds axles or changes those with the same vehicle and number. A part
// without a specification in the entry keeps the one it has, unless the kind
// of brake changes.
func (w *Writer) Axles(as []fleet.Axle) (c Counts, err error) {
	defer w.end("store axles", &err)
	for i := range as {
		if err := as[i].Validate(); err != nil {
			return c, err
		}
	}
	err = waves(as, axleKeyOf, func(wave []fleet.Axle) error { return w.axles(wave, &c) })
	return c, err
}

// axles is Axles for different axles.
func (w *Writer) axles(as []fleet.Axle, c *Counts) error {
	if err := w.fillAxles(as); err != nil {
		return err
	}
	if err := enter(w, as, func(a *fleet.Axle) int64 { return a.VehicleID }); err != nil {
		return err
	}
	known, err := w.knownAxles()
	if err != nil {
		return err
	}
	var changed []fleet.Axle
	for _, a := range as {
		old, ok := known[axleKeyOf(&a)]
		specs := map[fleet.Part]fleet.Spec{}
		if old.Brake == a.Brake {
			maps.Copy(specs, old.Specs)
		}
		maps.Copy(specs, a.Specs)
		a.Specs = specs
		switch {
		case !ok:
			c.Added++
		case old.Brake == a.Brake && maps.Equal(specs, old.Specs):
			c.Repeated++
			continue
		default:
			c.Changed++
		}
		changed = append(changed, a)
	}
	return w.upsertAxles(changed)
}

func (w *Writer) fillAxles(as []fleet.Axle) error {
	row := make([]any, len(stagedAxles.columns))
	return w.t.fill(stagedAxles, func(yield func([]any) bool) {
		for i := range as {
			row = append(row[:0], as[i].VehicleID, as[i].Number, string(as[i].Brake))
			if !yield(row) {
				return
			}
		}
	})
}

// knownAxles returns the axles of the stage that are there already, and holds
// them against other writers until the transaction ends.
func (w *Writer) knownAxles() (map[AxleKey]fleet.Axle, error) {
	if w.t.db.dialect == Postgres {
		_, err := w.t.exec(`
			select 1
			from axles
			where (vehicle_id, number) in (select vehicle_id, number from staged_axles)
			order by vehicle_id, number
			for no key update`)
		if err != nil {
			return nil, err
		}
	}
	known := map[AxleKey]fleet.Axle{}
	var among where
	among.add("(a.vehicle_id, a.number) in (select vehicle_id, number from staged_axles)")
	err := w.t.axles(among, func(a *fleet.Axle) { known[axleKeyOf(a)] = *a })
	return known, err
}

// upsertAxles writes as whole.
func (w *Writer) upsertAxles(as []fleet.Axle) error {
	if len(as) == 0 {
		return nil
	}
	if err := w.fillAxles(as); err != nil {
		return err
	}
	_, err := w.t.exec(`
		insert into axles (fleet_id, vehicle_id, number, brake)
		select v.fleet_id, s.vehicle_id, s.number, s.brake
		from staged_axles s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.number
		on conflict (vehicle_id, number) do update set brake = excluded.brake`)
	if err != nil {
		return err
	}
	_, err = w.t.exec(`
		delete from axle_specs
		where (vehicle_id, axle) in (select vehicle_id, number from staged_axles)`)
	if err != nil {
		return err
	}
	row := make([]any, len(stagedSpecs.columns))
	err = w.t.fill(stagedSpecs, func(yield func([]any) bool) {
		for i := range as {
			for p, s := range as[i].Specs {
				row = append(row[:0], as[i].VehicleID, as[i].Number, string(p), s.New, s.Limit, s.Source)
				if !yield(row) {
					return
				}
			}
		}
	})
	if err != nil {
		return err
	}
	_, err = w.t.exec(`
		insert into axle_specs (fleet_id, vehicle_id, axle, part, new_mm, limit_mm, source)
		select v.fleet_id, s.vehicle_id, s.axle, s.part, s.new_mm, s.limit_mm, s.source
		from staged_specs s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.axle, s.part`)
	return err
}

// axles calls f for each axle a that w admits, by vehicle and number. Its specifications
// are there when the next is, or axles returns.
func (t *tx) axles(w where, f func(a *fleet.Axle)) error {
	var a fleet.Axle
	return t.each(func(r *sqlx.Rows) error {
		var next fleet.Axle
		var part *fleet.Part // null: it has no specification
		var newMM, limitMM *float64
		var source *string
		err := r.Scan(&next.ID, &next.VehicleID, &next.Number, &next.Brake, &part, &newMM, &limitMM, &source)
		if err != nil {
			return err
		}
		if next.ID != a.ID {
			a = next
			a.Specs = map[fleet.Part]fleet.Spec{}
			f(&a)
		}
		if part != nil {
			a.Specs[*part] = fleet.Spec{New: *newMM, Limit: *limitMM, Source: *source}
		}
		return nil
	}, `
		select
			a.id,
			a.vehicle_id,
			a.number,
			a.brake,
			p.part,
			p.new_mm,
			p.limit_mm,
			p.source
		from axles a
		left join axle_specs p on p.vehicle_id = a.vehicle_id and p.axle = a.number`+w.String()+`
		order by a.vehicle_id, a.number`, w.args...)
}

// AxlesOf is AxleIndex for some vehicles.
func (db *DB) AxlesOf(ctx context.Context, sc auth.Scope, vehicles []int64) (map[AxleKey]fleet.Axle, error) {
	index := map[AxleKey]fleet.Axle{}
	err := db.find(ctx, "find axles", func(t *tx) error {
		for some := range slices.Chunk(vehicles, roundVehicles) {
			var w where
			w.vehicles(sc, "a.vehicle_id")
			w.add("a.vehicle_id in "+places(len(some)), anys(some)...)
			if err := t.axleIndex(index, w); err != nil {
				return err
			}
		}
		return nil
	})
	return index, err
}

// AxleIndex returns the axles with their specifications, which are not to be
// changed.
func (db *DB) AxleIndex(ctx context.Context, sc auth.Scope) (map[AxleKey]fleet.Axle, error) {
	index := map[AxleKey]fleet.Axle{}
	err := db.read(ctx, "list axles", func(t *tx) error {
		var w where
		w.vehicles(sc, "a.vehicle_id")
		return t.axleIndex(index, w)
	})
	return index, err
}

// axleIndex adds the axles a that w admits. Those with the same specifications
// share them: of very many, there are few that differ.
func (t *tx) axleIndex(index map[AxleKey]fleet.Axle, w where) error {
	shared := map[[4]fleet.Spec]map[fleet.Part]fleet.Spec{}
	same := words{}
	var last fleet.Axle
	add := func() {
		if last.ID == 0 {
			return
		}
		var all [4]fleet.Spec // none is a zero one: each has a source
		for i, p := range fleet.Parts {
			all[i] = last.Specs[p]
		}
		if shared[all] == nil {
			shared[all] = last.Specs
		}
		last.Specs, last.Brake = shared[all], fleet.Brake(same.of(string(last.Brake)))
		index[axleKeyOf(&last)] = last
	}
	err := t.axles(w, func(a *fleet.Axle) {
		add()
		last = *a
	})
	add()
	return err
}

// words keep one copy of each text that comes again and again.
type words map[string]string

func (w words) of(s string) string {
	if old, ok := w[s]; ok {
		return old
	}
	w[s] = s
	return s
}
