package store

import (
	"context"

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

// stagedLooked are the vehicles whose findings were worked out.
var stagedLooked = stage{name: "staged_looked", from: "findings", columns: []string{"vehicle_id"}}

// growth is by how much a finding must have grown since somebody looked at it
// to be open again. Judgement: a quarter is more than the readings' error.
const growth = 1.25

// SaveFindings replaces what was found of vehicles, as seen on a day: what is
// seen again keeps its id, its state and its note, what is not is no longer
// seen, and what was no longer seen and comes back is open again.
func (db *DB) SaveFindings(ctx context.Context, sc auth.Scope, vehicles []int64, fs []fleet.Finding, on fleet.Date) error {
	if len(vehicles) == 0 {
		return nil
	}
	return db.tend(ctx, "keep findings", func(t *tx) error {
		err := t.fill(stagedLooked, func(yield func([]any) bool) {
			for _, id := range vehicles {
				if !yield([]any{id}) {
					return
				}
			}
		})
		if err != nil {
			return err
		}
		if err := t.checkVehicles(sc, stagedLooked.name); err != nil {
			return err
		}
		if err := t.fillFindings(fs); err != nil {
			return err
		}
		_, err = t.exec(`
			update findings
			set state = ?
			where vehicle_id in (select vehicle_id from staged_looked)
				and state <> ?
				and not exists (
					select 1
					from staged_findings s
					where s.vehicle_id = findings.vehicle_id and s.kind = findings.kind and s.subject = findings.subject)`,
			string(fleet.NoLonger), string(fleet.NoLonger))
		if err != nil || len(fs) == 0 {
			return err
		}
		_, err = t.exec(`
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
			where v.id in (select vehicle_id from staged_looked)
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
			string(fleet.OpenFinding), on, on, string(fleet.NoLonger), string(fleet.LookedAt), growth)
		return err
	})
}

// aDate is a parameter that is a date, in a select list.
func (db *DB) aDate() string {
	if db.dialect == Postgres {
		return "CAST(? AS date)"
	}
	return "?"
}

func (t *tx) fillFindings(fs []fleet.Finding) error {
	row := make([]any, len(stagedFindings.columns))
	return t.fill(stagedFindings, func(yield func([]any) bool) {
		for i := range fs {
			f := &fs[i]
			var record, after, before, fitDay, fitKm any
			if f.Record.ID != 0 {
				record = f.Record.ID
			}
			if s := f.Suggested; s != nil {
				after, before, fitDay, fitKm = s.After, s.Before, s.Date, s.OdometerKm
			}
			p := f.Position
			row = append(row[:0],
				f.VehicleID, string(f.Kind), f.Subject, int(f.Kind.Urgency()),
				p.Axle, string(p.Part), string(p.Side), string(p.Face),
				f.Seen, f.Advice, f.Source, f.Figure, string(f.Record.Kind), record,
				after, before, fitDay, fitKm)
			if !yield(row) {
				return
			}
		}
	})
}
