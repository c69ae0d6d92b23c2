package dashboard

import (
	"cmp"
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// Measured is what was measured on an axle and fitted to it, as a table: a
// line per day, a column per position. It is the charts in figures.
type Measured struct {
	Columns []string // positions, in words
	Rows    []MeasuredRow
}

// MeasuredRow is one visit.
type MeasuredRow struct {
	Date    fleet.Date
	Km      string
	Cells   [][]Cell // by position; several were read on some days
	Fitted  []Cell   // what was fitted on that day, in words
	Notes   []string
	Seen    []Cell // conditions
	Uploads []int64
}

// Cell is one record in a table.
type Cell struct {
	Text string
	Link string // to correct it
	Was  string // what became of it; blank while it counts
}

// measuredOf gathers an axle's readings and fitments and what else was seen,
// newest first, with those that no longer count. f marks the readings it set
// aside; it may be nil.
func measuredOf(tell units.Reader, h *store.History, axle int, f *store.AxleForecast, old *store.Corrections) Measured {
	var places []fleet.Position
	rows := map[fleet.Date]*MeasuredRow{}
	row := func(d fleet.Date, km *float64, upload int64) *MeasuredRow {
		r := rows[d]
		if r == nil {
			r = &MeasuredRow{Date: d}
			rows[d] = r
		}
		if km != nil && r.Km == "" {
			r.Km = tell.Km(*km)
		}
		if upload != 0 && !slices.Contains(r.Uploads, upload) {
			r.Uploads = append(r.Uploads, upload)
		}
		return r
	}
	var readings []*fleet.Reading
	for _, of := range [][]fleet.Reading{h.Readings, old.Readings} {
		for i := range of {
			r := &of[i]
			if r.Position.Axle != axle {
				continue
			}
			readings = append(readings, r)
			if !slices.Contains(places, r.Position) {
				places = append(places, r.Position)
			}
		}
	}
	slices.SortFunc(places, comparePlaces)
	m := Measured{}
	for _, p := range places {
		m.Columns = append(m.Columns, p.Within())
	}
	for _, r := range readings {
		to := row(r.Date, r.OdometerKm, r.UploadID)
		if to.Cells == nil {
			to.Cells = make([][]Cell, len(places))
		}
		at := slices.Index(places, r.Position)
		to.Cells[at] = append(to.Cells[at], Cell{
			Text: readingCell(tell, r, f),
			Link: correctionPath(fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}),
			Was:  wasWords(r.Aside),
		})
		if r.Note != "" && !slices.Contains(to.Notes, r.Note) {
			to.Notes = append(to.Notes, r.Note)
		}
	}
	for _, of := range [][]fleet.Fitment{h.Fitments, old.Fitments} {
		for i := range of {
			x := &of[i]
			if x.Position.Axle != axle {
				continue
			}
			to := row(x.Date, x.OdometerKm, x.UploadID)
			to.Fitted = append(to.Fitted, Cell{
				Text: fittedWords(tell, x),
				Link: correctionPath(fleet.Record{Kind: fleet.FitmentRecord, ID: x.ID}),
				Was:  wasWords(x.Aside),
			})
		}
	}
	for _, x := range slices.Concat(h.Conditions, old.Conditions) {
		if x.Axle == axle {
			to := row(x.Date, x.OdometerKm, x.UploadID)
			to.Seen = append(to.Seen, seenCell(&x))
		}
	}
	for _, r := range rows {
		if r.Cells == nil {
			r.Cells = make([][]Cell, len(places))
		}
		m.Rows = append(m.Rows, *r)
	}
	slices.SortFunc(m.Rows, func(a, b MeasuredRow) int { return cmp.Compare(b.Date, a.Date) })
	return m
}

// seenCell is a condition in a table.
func seenCell(x *fleet.Condition) Cell {
	return Cell{Text: x.Words(), Link: correctionPath(fleet.Record{Kind: fleet.ConditionRecord, ID: x.ID}), Was: wasWords(x.Aside)}
}

// wasWords says what became of a record; blank while it counts.
func wasWords(a *fleet.Aside) string {
	switch {
	case a == nil:
		return ""
	case a.StandsID != 0:
		return "corrected by " + a.By + ": " + a.Why
	}
	return "set aside by " + a.By + ": " + a.Why
}

// readingCell is a reading in a table, with what is special about it.
func readingCell(tell units.Reader, r *fleet.Reading, f *store.AxleForecast) string {
	s := tell.Spec(string(r.Position.Part), r.MM)
	if r.Tripped {
		s = "≤ " + s + " (sensor)"
	}
	if f != nil && r.Aside == nil {
		for _, a := range f.Basis.SetAside {
			if fleet.Date(a.Reading.Day) == r.Date && a.Reading.MM == r.MM &&
				within(a.Reading.Pos) == r.Position.Within() {
				s += " (not used)"
				break
			}
		}
	}
	return s
}

// comparePlaces orders positions as a person reads them: pads before rotors,
// left before right, inner before outer, the thinnest of both last.
func comparePlaces(a, b fleet.Position) int {
	rank := func(p fleet.Position) int {
		part := slices.Index(fleet.Parts, p.Part)
		side := map[fleet.Side]int{fleet.Left: 0, fleet.Right: 1, "": 2}[p.Side]
		face := map[fleet.Face]int{fleet.Inner: 0, fleet.Outer: 1, "": 2}[p.Face]
		return part*9 + side*3 + face
	}
	return rank(a) - rank(b)
}
