package store

import (
	"context"
	"reflect"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

var stagedFindings = stage{
	name: "staged_findings",
	from: "findings",
	columns: []string{
		"vehicle_id", "kind", "subject", "urgency",
		"axle", "part", "side", "face",
		"seen", "advice", "source", "figure", "record", "record_id",
		"after_day", "before_day", "fit_day", "fit_km",
	},
}

// growth is by how much a finding must have grown since somebody looked at it
// to be open again. Judgement: a quarter is more than the readings' error.
const growth = 1.25

// SaveFindings replaces what was found of vehicles of st, as seen on its day: what is
// seen again keeps its id, its state and its note, what is not is no longer
// seen, and what was no longer seen and comes back is open again. A row that says
// all of it already is left as it is: most are seen again with each reading.
func (db *DB) SaveFindings(ctx context.Context, st *Standing, vehicles []int64, fs []fleet.Finding) error {
	fresh, gone, err := st.news(vehicles, fs)
	if err != nil {
		return err
	}
	if len(fresh) == 0 && len(gone) == 0 {
		return nil
	}
	return db.tend(ctx, "keep findings", func(t *tx) error {
		if err := t.noLonger(gone); err != nil || len(fresh) == 0 {
			return err
		}
		if err := t.fillFindings(fresh); err != nil {
			return err
		}
		return t.later(`
			insert into findings (
				fleet_id, vehicle_id, kind, subject, urgency,
				axle, part, side, face,
				seen, advice, source, figure, record, record_id,
				after_day, before_day, fit_day, fit_km,
				state, first_seen, last_seen, answer, note, note_by)
			select
				v.fleet_id, s.vehicle_id, s.kind, s.subject, s.urgency,
				s.axle, s.part, s.side, s.face,
				s.seen, s.advice, s.source, s.figure, s.record, s.record_id,
				s.after_day, s.before_day, s.fit_day, s.fit_km,
				?, `+t.db.aDate()+`, `+t.db.aDate()+`, '', '', ''
			from staged_findings s
			join vehicles v on v.id = s.vehicle_id
			where true
			order by s.vehicle_id, s.kind, s.subject
			on conflict (vehicle_id, kind, subject) do update set
				urgency = excluded.urgency,
				axle = excluded.axle,
				part = excluded.part,
				side = excluded.side,
				face = excluded.face,
				seen = excluded.seen,
				advice = excluded.advice,
				source = excluded.source,
				figure = excluded.figure,
				record = excluded.record,
				record_id = excluded.record_id,
				after_day = excluded.after_day,
				before_day = excluded.before_day,
				fit_day = excluded.fit_day,
				fit_km = excluded.fit_km,
				last_seen = excluded.last_seen,
				state = case
					when findings.state = ? then excluded.state
					when findings.state = ? and excluded.figure > ? * findings.note_figure then excluded.state
					else findings.state
				end`,
			string(fleet.OpenFinding), st.on, st.on, string(fleet.NoLonger), string(fleet.LookedAt), growth)
	})
}

// news returns those of fs that do not stand, and the ids of those of vehicles that stand
// and are no longer seen.
func (st *Standing) news(vehicles []int64, fs []fleet.Finding) (fresh []fleet.Finding, gone []int64, err error) {
	if err := st.check(vehicles); err != nil {
		return nil, nil, err
	}
	seen := map[int64]bool{}
	for i := range fs {
		f := &fs[i]
		of, looked := st.findings[f.VehicleID]
		if !looked {
			return nil, nil, strangeVehicle(f.VehicleID)
		}
		k := of[findingKey{f.Kind, f.Subject}]
		if k != nil {
			seen[k.ID] = true
		}
		if !k.says(f, st.on) {
			fresh = append(fresh, *f)
		}
	}
	for _, id := range vehicles {
		for _, k := range st.findings[id] {
			if !seen[k.ID] && k.State != fleet.NoLonger {
				gone = append(gone, k.ID)
			}
		}
	}
	slices.Sort(gone) // two who note the same would wait for each other
	return fresh, gone, nil
}

// findingKey is what tells a finding of a vehicle from others.
type findingKey struct {
	kind    fleet.FindingKind
	subject string
}

// keptFinding is a finding that is there.
type keptFinding struct {
	fleet.Finding
	noted *float64 // its figure when somebody looked at it
}

// says says whether storing f, as seen on a day, would change nothing.
func (k *keptFinding) says(f *fleet.Finding, on fleet.Date) bool {
	if k == nil || k.State == fleet.NoLonger || k.LastSeen != on {
		return false
	}
	grown := k.State == fleet.LookedAt && k.noted != nil && f.Figure != nil && *f.Figure > growth**k.noted
	return !grown && reflect.DeepEqual(findingRow(nil, &k.Finding), findingRow(nil, f))
}

// keptFindings asks for the findings there are of vehicles: of each that sc sees, and may
// have none.
func (t *tx) keptFindings(of map[int64]map[findingKey]*keptFinding, sc auth.Scope, vehicles []int64) error {
	var w where
	w.among("v.id", vehicles)
	w.scope(sc, "v")
	return t.each(func(r *sqlx.Rows) error {
		var k keptFinding
		var after, before, day *fleet.Date
		var km *float64
		err := r.Scan(
			&k.VehicleID, &k.ID, &k.Kind, &k.Subject,
			&k.Position.Axle, &k.Position.Part, &k.Position.Side, &k.Position.Face,
			&k.Seen, &k.Advice, &k.Source, &k.Figure, &k.Record.Kind, &k.Record.ID,
			&after, &before, &day, &km,
			&k.State, (*someDay)(&k.LastSeen), &k.noted)
		if after != nil && before != nil && day != nil {
			k.Suggested = &fleet.SuggestedFitment{After: *after, Before: *before, Fitment: fleet.Fitment{Date: *day, OdometerKm: km}}
		}
		if of[k.VehicleID] == nil {
			of[k.VehicleID] = map[findingKey]*keptFinding{}
		}
		if k.ID != 0 {
			of[k.VehicleID][findingKey{k.Kind, k.Subject}] = &k
		}
		return err
	}, `
		select
			v.id, coalesce(f.id, 0), coalesce(f.kind, ''), coalesce(f.subject, ''),
			coalesce(f.axle, 0), coalesce(f.part, ''), coalesce(f.side, ''), coalesce(f.face, ''),
			coalesce(f.seen, ''), coalesce(f.advice, ''), coalesce(f.source, ''), f.figure, coalesce(f.record, ''), coalesce(f.record_id, 0),
			f.after_day, f.before_day, f.fit_day, f.fit_km,
			coalesce(f.state, ''), f.last_seen, f.note_figure
		from vehicles v
		left join findings f on f.vehicle_id = v.id`+w.String(), w.args...)
}

// noLonger notes that findings are no longer seen.
func (t *tx) noLonger(gone []int64) error {
	for ids := range slices.Chunk(gone, roundVehicles) {
		w := where{args: []any{string(fleet.NoLonger)}}
		w.among("id", roundedUp(ids))
		if err := t.later(`update findings set state = ?`+w.String(), w.args...); err != nil {
			return err
		}
	}
	return nil
}

// aDate is a parameter that is a date, in a select list.
func (db *DB) aDate() string {
	if db.dialect == Postgres {
		return "CAST(? AS date)"
	}
	return "?"
}

func (t *tx) fillFindings(fs []fleet.Finding) error {
	row := make([]any, 0, len(stagedFindings.columns))
	return t.fill(stagedFindings, func(yield func([]any) bool) {
		for i := range fs {
			if row = findingRow(row[:0], &fs[i]); !yield(row) {
				return
			}
		}
	})
}

// findingRow appends a finding to row as stagedFindings has it.
func findingRow(row []any, f *fleet.Finding) []any {
	var record, after, before, fitDay, fitKm any
	if f.Record.ID != 0 {
		record = f.Record.ID
	}
	if s := f.Suggested; s != nil {
		after, before, fitDay, fitKm = s.After, s.Before, s.Date, s.OdometerKm
	}
	p := f.Position
	return append(row,
		f.VehicleID, string(f.Kind), f.Subject, int(f.Kind.Urgency()),
		p.Axle, string(p.Part), string(p.Side), string(p.Face),
		f.Seen, f.Advice, f.Source, f.Figure, string(f.Record.Kind), record,
		after, before, fitDay, fitKm)
}
