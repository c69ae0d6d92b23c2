package ingest

import (
	"strings"

	"brakewear/internal/fleet"
)

// notMeasured is what sheets have in the place of a value that was not taken.
var notMeasured = map[string]bool{"": true, "-": true, "–": true, "—": true, "n/a": true, "na": true, "nm": true, "n/m": true, "not measured": true}

// measured builds the readings or fitments of a line, one for each of its
// value columns.
func (l *line) measured() {
	var row Row
	l.vehicle(&row)
	r := fleet.Reading{
		Line:       l.rec.line,
		Date:       l.date(),
		OdometerKm: l.odometer(fOdometer),
		Gauge:      l.text(fGauge),
		Technician: l.text(fTechnician),
		Note:       l.text(fNote),
	}
	at := l.rowPlace(&row)
	if l.bad {
		// Whatever else is wrong with the line is said too, so that it is mended once.
		for i := range l.lay.values {
			v := &l.lay.values[i]
			if s := l.at(v.index); !notMeasured[strings.ToLower(s)] {
				l.length(v, s)
			}
		}
		return
	}
	if len(l.lay.values) == 0 {
		l.fault(fValue, "", "missing: give the value")
		return
	}
	wide := len(l.lay.values) > 1
	some := false
	for i := range l.lay.values {
		v := &l.lay.values[i]
		s := l.at(v.index)
		if wide && (s == "" || notMeasured[strings.ToLower(s)]) {
			continue
		}
		some = true
		l.value(&row, r, at, v, s)
	}
	if !some {
		l.fault(fValue, "", "no value in any column: nothing measured, leave the row out")
	}
}

// rowPlace reads what the row's own cells say of the position.
func (l *line) rowPlace(row *Row) (at place) {
	if s := l.cell(fAxle); s != "" {
		n, fault := l.axle(l.column(fAxle), s, row)
		if fault != "" {
			l.fault(fAxle, s, "%s", fault)
		}
		at.axle = n
	}
	if s := l.cell(fPart); s != "" {
		if at.part = partOf(s); at.part == "" {
			if at.part = partOf(strings.ToLower(s)); at.part == "" {
				l.fault(fPart, s, "no part: want pad, rotor, lining or drum")
			}
		}
	}
	if s := l.cell(fSide); s != "" && !bothOf(s) {
		low := strings.ToLower(s)
		if at.side = sideOf(low); at.side == "" {
			if byRoad(low) {
				l.fault(fSide, s, "which side that is depends on the country: write left or right, seen in the direction of travel")
			} else {
				l.fault(fSide, s, "no side: want left, right, or blank for the thinner of both")
			}
		}
	}
	if s := l.cell(fFace); s != "" && !bothOf(s) {
		switch low := strings.ToLower(s); low {
		case "in": // which says something else in a header
			at.face = fleet.Inner
		case "out":
			at.face = fleet.Outer
		default:
			at.face = faceOf(low)
		}
		if at.face == "" {
			l.fault(fFace, s, "no face: want inner, outer, or blank for the thinner of both")
		}
	}
	return at
}

// bothOf says whether a cell means the thinner of both, as a blank does.
func bothOf(s string) bool {
	return s == "-" || strings.EqualFold(s, "both") || strings.EqualFold(s, "min")
}

// value builds the reading or fitment of one value column. A fault here costs
// this value alone.
func (l *line) value(row *Row, r fleet.Reading, at place, v *valueColumn, s string) {
	column := strings.TrimSpace(l.lay.headers[v.index])
	before := l.bad
	l.bad = false
	r.Position = l.position(row, at, v, column)
	switch {
	case s == "" && l.lay.kind == Fitments:
		// The specification's new value.
	case notMeasured[strings.ToLower(s)]:
		l.valueFault(column, s, "no value: write the thickness, or leave the row out")
	default:
		x := l.length(v, s)
		r.MM, r.Given, r.Unit, r.Tripped = x.mm, x.given, x.unit, x.atMost
	}
	if !l.bad {
		l.put(row, &r)
	} else {
		l.refused++
	}
	l.bad = before
}

// length reads what stands in a value column.
func (l *line) length(v *valueColumn, s string) length {
	column := strings.TrimSpace(l.lay.headers[v.index])
	x, fault := parseLength(s, v.unit, l.form.exact)
	switch {
	case fault != "":
		l.valueFault(column, s, withHelp(fault, "write "+v.unit.name+" in digits, such as "+example(v.unit)))
	case x.mm < 0 || x.mm > fleet.MaxMM:
		l.valueFault(column, s, "no brake part measures that: correct the value, or the unit in the header")
	case l.lay.kind == Fitments && (x.mm == 0 || x.atMost):
		l.valueFault(column, s, "not the thickness of a part just fitted: write it, or leave the cell blank for a new part")
	}
	return x
}

func (l *line) valueFault(column, read, message string) {
	l.faultIn(column, read, "%s", message)
	l.bad = true
}

func example(u unit) string {
	switch u {
	case inch:
		return "0.28"
	case inch32:
		return "9"
	}
	return "7.4"
}

// put appends a row to the queue after a last look at it.
func (l *line) put(row *Row, r *fleet.Reading) {
	if err := r.Validate(); err != nil {
		l.faultIn("", "", "%v", err)
		l.refused++
		return
	}
	out := *row
	if l.lay.kind == Fitments {
		out.Fitment = &fleet.Fitment{Position: r.Position, Date: r.Date, OdometerKm: r.OdometerKm, MM: r.MM, Line: r.Line}
	} else {
		if len(l.readings) == cap(l.readings) {
			l.readings = make([]fleet.Reading, 0, moreRoom(cap(l.readings)))
		}
		l.readings = append(l.readings, *r)
		out.Reading = &l.readings[len(l.readings)-1]
	}
	l.queue = append(l.queue, out)
}

// moreRoom is how many values there is to be room for next, after so many: rows may be
// kept, so memory is not used twice. The first are all of most files.
func moreRoom(before int) int { return min(512, max(4, 4*before)) }

// position joins what the column's header and the row say.
func (l *line) position(row *Row, at place, v *valueColumn, column string) fleet.Position {
	p := fleet.Position{Axle: at.axle, Part: at.part, Side: at.side, Face: at.face}
	clash := func(what string) {
		l.valueFault(column, "", "the row names another "+what+" than the header of this column: clear one of them")
	}
	if v.axle > 0 || v.axleWord != "" {
		n, fault := v.axle, ""
		if n == 0 {
			if n, fault = l.axle(column, v.axleWord, row); fault != "" {
				l.valueFault(column, v.axleWord, fault)
				return p
			}
		}
		if p.Axle > 0 && p.Axle != n {
			clash("axle")
		}
		p.Axle = n
	}
	if p.Axle == 0 {
		l.valueFault(l.column(fAxle), "", "blank: write the axle's number, 1 is the front")
	}
	if v.part != "" {
		if p.Part != "" && p.Part != v.part {
			clash("part")
		}
		p.Part = v.part
	}
	if v.side != "" {
		if p.Side != "" && p.Side != v.side {
			clash("side")
		}
		p.Side = v.side
	}
	if v.face != "" {
		if p.Face != "" && p.Face != v.face {
			clash("face")
		}
		p.Face = v.face
	}
	switch {
	case p.Part == "" && p.Face != "":
		p.Part = fleet.Pad // no other part has faces
	case p.Part == "":
		l.valueFault(l.column(fPart), "", "blank: write pad, rotor, lining or drum")
	case p.Face != "" && p.Part != fleet.Pad:
		l.valueFault(l.column(fFace), string(p.Face), "only a pad has faces: clear the face of a "+string(p.Part))
	}
	return p
}
