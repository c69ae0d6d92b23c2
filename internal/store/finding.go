package store

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// FindingQuery asks for a page of findings: the most pressing first, and of
// those the ones that have waited longest.
type FindingQuery struct {
	Fleet, Depot, Vehicle int64             // 0 = all
	Kind                  fleet.FindingKind // "" = all
	States                []fleet.FindingState
	After                 string // FindingPage.Next of the page before
	Limit                 int    // 0 = DefaultLimit
}

// FindingRow is a finding with the vehicle it is of.
type FindingRow struct {
	fleet.Finding
	FleetID, DepotID int64 // the vehicle's
	Vehicle, Plate   string
	Fleet, Depot     string
}

// FindingPage is a page of findings.
type FindingPage struct {
	Rows  []FindingRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

// findingCursor is the place of the last finding of a page.
type findingCursor struct {
	Urgency int
	ID      int64
}

func parseFindingCursor(s string) (c findingCursor, err error) {
	if err = readCursor(s, &c); err == nil && c.ID < 1 {
		err = noCursor(s)
	}
	return c, err
}

func (q *FindingQuery) where(sc auth.Scope) where {
	var w where
	w.scope(sc, "v")
	w.only("v.fleet_id", q.Fleet)
	w.only("v.depot_id", q.Depot)
	w.only("f.vehicle_id", q.Vehicle)
	if q.Kind != "" {
		w.add("f.kind = ?", string(q.Kind))
	}
	if n := len(q.States); n > 0 {
		var states []any
		for _, s := range q.States {
			states = append(states, string(s))
		}
		w.add("f.state in "+places(n), states...)
	}
	return w
}

// Findings returns a page of findings.
func (db *DB) Findings(ctx context.Context, sc auth.Scope, q FindingQuery) (page FindingPage, err error) {
	err = db.readKeeping(ctx, "list findings", func(t *tx) error {
		w := q.where(sc)
		if page.Total, err = t.countFindings(w); err != nil {
			return err
		}
		page.Rows, page.Next, err = t.findings(w, q.After, limitOf(q.Limit))
		return err
	})
	return page, err
}

// CountFindings returns how many findings q asks for, on all pages.
func (db *DB) CountFindings(ctx context.Context, sc auth.Scope, q FindingQuery) (n int, err error) {
	err = db.readKeeping(ctx, "count findings", func(t *tx) error {
		n, err = t.countFindings(q.where(sc))
		return err
	})
	return n, err
}

func (t *tx) countFindings(w where) (int, error) {
	from := "findings f"
	if strings.Contains(w.String(), "v.") { // else the index of states counts them
		from += " join vehicles v on v.id = f.vehicle_id"
	}
	return t.counted(`
		select count(*)
		from `+from+w.String(), w.args...)
}

// EachFinding calls fn for every finding of q, whatever its After and Limit,
// and stops at fn's first error. No transaction is open while fn runs.
func (db *DB) EachFinding(ctx context.Context, sc auth.Scope, q FindingQuery, fn func(FindingRow) error) error {
	w := q.where(sc)
	for after := ""; ; {
		var rows []FindingRow
		err := db.read(ctx, "list findings", func(t *tx) (err error) {
			rows, after, err = t.findings(w, after, MaxLimit)
			return err
		})
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := fn(r); err != nil {
				return err
			}
		}
		if after == "" {
			return nil
		}
	}
}

// Finding returns one finding.
func (db *DB) Finding(ctx context.Context, sc auth.Scope, id int64) (f FindingRow, err error) {
	err = db.read(ctx, "read a finding", func(t *tx) error {
		f, err = t.finding(sc, id)
		return err
	})
	return f, err
}

func (t *tx) finding(sc auth.Scope, id int64) (FindingRow, error) {
	w := (&FindingQuery{}).where(sc)
	w.add("f.id = ?", id)
	rows, _, err := t.findings(w, "", 1)
	if err != nil {
		return FindingRow{}, err
	}
	if len(rows) == 0 {
		return FindingRow{}, noFinding(id)
	}
	return rows[0], nil
}

func noFinding(id int64) error {
	return fleet.NotFoundf("finding %d: there is none, or none that you may see", id)
}

// findings returns the findings f of vehicles v that w admits after a cursor,
// and the cursor of the next.
func (t *tx) findings(w where, after string, limit int) (rows []FindingRow, next string, err error) {
	w = where{slices.Clone(w.conds), slices.Clone(w.args)}
	if after != "" {
		c, err := parseFindingCursor(after)
		if err != nil {
			return nil, "", err
		}
		w.add("(f.urgency, f.id) > (?, ?)", c.Urgency, c.ID)
	}
	err = t.each(func(r *sqlx.Rows) error {
		if len(rows) == limit {
			last := &rows[limit-1]
			next = cursorText(findingCursor{int(last.Kind.Urgency()), last.ID})
			return nil
		}
		row, err := scanFinding(r)
		rows = append(rows, row)
		return err
	}, findingsQuery(w)+`
		limit ?`, append(w.args, limit+1)...)
	return rows, next, err
}

// findingsLater asks for all findings f of vehicles v that w admits, with the next that
// somebody waits for, see laterEach.
func (t *tx) findingsLater(w where, fn func(FindingRow)) error {
	return t.laterEach(func(r *sqlx.Rows) error {
		f, err := scanFinding(r)
		fn(f)
		return err
	}, findingsQuery(w), w.args...)
}

func findingsQuery(w where) string {
	return `
		select
			f.id,
			f.vehicle_id,
			f.kind,
			f.subject,
			f.axle,
			f.part,
			f.side,
			f.face,
			f.seen,
			f.advice,
			f.source,
			f.figure,
			f.record,
			coalesce(f.record_id, 0),
			f.after_day,
			f.before_day,
			f.fit_day,
			f.fit_km,
			f.state,
			f.first_seen,
			f.last_seen,
			f.answer,
			f.note,
			f.note_by,
			f.note_at,
			v.fleet_id,
			v.depot_id,
			v.number,
			v.plate,
			l.name,
			d.name
		from findings f
		join vehicles v on v.id = f.vehicle_id
		join fleets l on l.id = v.fleet_id
		join depots d on d.id = v.depot_id` + w.String() + `
		order by f.urgency, f.id`
}

func scanFinding(r *sqlx.Rows) (FindingRow, error) {
	var f FindingRow
	var after, before, day *fleet.Date
	var km *float64
	var noteAt *instant
	err := r.Scan(
		&f.ID,
		&f.VehicleID,
		&f.Kind,
		&f.Subject,
		&f.Position.Axle,
		&f.Position.Part,
		&f.Position.Side,
		&f.Position.Face,
		&f.Seen,
		&f.Advice,
		&f.Source,
		&f.Figure,
		&f.Record.Kind,
		&f.Record.ID,
		&after,
		&before,
		&day,
		&km,
		&f.State,
		&f.FirstSeen,
		&f.LastSeen,
		&f.Answer,
		&f.Note.Why,
		&f.Note.By,
		&noteAt,
		&f.FleetID,
		&f.DepotID,
		&f.Vehicle,
		&f.Plate,
		&f.Fleet,
		&f.Depot)
	if noteAt != nil {
		f.NoteAt = time.Time(*noteAt)
	}
	if after != nil && before != nil && day != nil {
		f.Suggested = &fleet.SuggestedFitment{After: *after, Before: *before, Fitment: fleet.Fitment{
			VehicleID: f.VehicleID, Position: f.Position, Date: *day, OdometerKm: km,
		}}
	}
	return f, err
}
