package dashboard

import (
	"cmp"
	"slices"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
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
	Cells   []string
	Fitted  string // what was fitted on that day, in words
	Notes   []string
	Uploads []int64
}

// measuredOf gathers an axle's readings and fitments and what else was seen,
// newest first. f marks the readings it set aside; it may be nil.
func measuredOf(h *store.History, axle int, f *store.AxleForecast) Measured {
	var places []fleet.Position
	rows := map[fleet.Date]*MeasuredRow{}
	row := func(d fleet.Date, km *float64, upload int64) *MeasuredRow {
		r := rows[d]
		if r == nil {
			r = &MeasuredRow{Date: d}
			rows[d] = r
		}
		if km != nil && r.Km == "" {
			r.Km = kmWords(*km)
		}
		if upload != 0 && !slices.Contains(r.Uploads, upload) {
			r.Uploads = append(r.Uploads, upload)
		}
		return r
	}
	for _, r := range h.Readings {
		if r.Position.Axle == axle && !slices.Contains(places, r.Position) {
			places = append(places, r.Position)
		}
	}
	slices.SortFunc(places, comparePlaces)
	m := Measured{}
	for _, p := range places {
		m.Columns = append(m.Columns, p.Within())
	}
	for i := range h.Readings {
		r := &h.Readings[i]
		if r.Position.Axle != axle {
			continue
		}
		to := row(r.Date, r.OdometerKm, r.UploadID)
		if to.Cells == nil {
			to.Cells = make([]string, len(places))
		}
		at := slices.Index(places, r.Position)
		to.Cells[at] = strings.TrimSpace(to.Cells[at] + " " + readingCell(r, f))
		if r.Note != "" && !slices.Contains(to.Notes, r.Note) {
			to.Notes = append(to.Notes, r.Note)
		}
	}
	for _, x := range h.Fitments {
		if x.Position.Axle != axle {
			continue
		}
		to := row(x.Date, x.OdometerKm, x.UploadID)
		what := "new " + x.Position.Within()
		if x.MM > 0 {
			what += " at " + spec(x.MM) + " mm"
		}
		if to.Fitted != "" {
			what = to.Fitted + ", " + what
		}
		to.Fitted = what
	}
	for i := range h.Conditions {
		if x := &h.Conditions[i]; x.Axle == axle {
			to := row(x.Date, x.OdometerKm, x.UploadID)
			to.Notes = append(to.Notes, x.Words())
		}
	}
	for _, r := range rows {
		if r.Cells == nil {
			r.Cells = make([]string, len(places))
		}
		m.Rows = append(m.Rows, *r)
	}
	slices.SortFunc(m.Rows, func(a, b MeasuredRow) int { return cmp.Compare(b.Date, a.Date) })
	return m
}

// readingCell is a reading in a table, with what is special about it.
func readingCell(r *fleet.Reading, f *store.AxleForecast) string {
	s := spec(r.MM)
	if r.Tripped {
		s = "≤ " + s + " (sensor)"
	}
	if f != nil {
		for _, a := range f.Basis.SetAside {
			if fleet.Date(a.Reading.Day) == r.Date && a.Reading.MM == r.MM &&
				within(a.Reading.Pos) == r.Position.Within() {
				s += " (set aside)"
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
