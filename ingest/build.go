package ingest

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"brakewear/internal/fleet"
)

// Bounds of text cells, in characters: what a list can show of a name, and a
// long note.
const (
	maxName = 100
	maxNote = 2000
)

// line is the record being built with what went wrong in it.
type line struct {
	*Reader
	rec *record
	bad bool
}

// builder returns the function that turns a line into rows.
func (r *Reader) builder() func(rec *record) {
	build := map[Kind]func(l *line){
		Vehicles:   (*line).vehicleEntry,
		Axles:      (*line).axleSpec,
		Odometer:   (*line).odometerReading,
		Fitments:   (*line).measured,
		Readings:   (*line).measured,
		BrakeTests: (*line).brakeTest,
		Parts:      (*line).stockPart,
		Absences:   (*line).absence,

		PlannedVisits: (*line).plannedVisit,
	}[r.lay.kind]
	l := &line{Reader: r}
	return func(rec *record) {
		l.rec, l.bad = rec, false
		want := len(r.lay.headers)
		if have := len(rec.cells); r.form.fixed && have != want && !l.blankBeyond(want) {
			l.wrongLength(have, want)
			return
		}
		build(l)
		if l.bad {
			r.refused++
		}
	}
}

// blankBeyond says whether a line has all cells and only blank ones more.
// Between commas that may be a decimal comma that moved the cells along.
func (l *line) blankBeyond(want int) bool {
	if l.form.comma || len(l.rec.cells) < want {
		return false
	}
	for _, c := range l.rec.cells[want:] {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

func (l *line) wrongLength(have, want int) {
	what := fmt.Sprintf("the line has %d cells and the header %d", have, want)
	switch {
	case have < want:
		what += ": is it cut off?"
	case l.form.comma:
		what += ": put quotes round text that has a comma, and write decimals with a point"
	default:
		what += ": put quotes round text that has the sign between cells"
	}
	l.refuse(fleet.Problem{Line: l.rec.line, Read: strings.Join(l.rec.cells, " | "), Message: what})
	l.refused++
	var key testKey
	if l.lay.index[fVehicle] == 0 { // the cells behind a missing or a cut one are moved
		key.vehicle = l.cell(fVehicle)
	}
	l.lose(l.rec.line, key)
}

// at returns cell i, "" where the line is shorter or the file has no such
// column.
func (l *line) at(i int) string {
	if i < 0 || i >= len(l.rec.cells) {
		return ""
	}
	return strings.TrimSpace(l.rec.cells[i])
}

func (l *line) cell(f field) string { return l.at(l.lay.index[f]) }

// column is what the file calls field f.
func (l *line) column(f field) string {
	if i := l.lay.index[f]; i >= 0 {
		return strings.TrimSpace(l.lay.headers[i])
	}
	for _, c := range columns[l.lay.kind] {
		if c.field == f {
			return c.Name
		}
	}
	return ""
}

// fault refuses the row for what stands in field f.
func (l *line) fault(f field, read, format string, args ...any) {
	l.faultIn(l.column(f), read, format, args...)
	l.bad = true
}

func (l *line) faultIn(column, read, format string, args ...any) {
	if len(args) > 0 {
		format = fmt.Sprintf(format, args...)
	}
	l.refuse(fleet.Problem{Line: l.rec.line, Column: column, Read: read, Message: format})
}

// text reads a name or a note.
func (l *line) text(f field) string {
	s := l.cell(f)
	if s == "" {
		return ""
	}
	// An apostrophe that CSVCell put there.
	if len(s) > 1 && s[0] == '\'' && strings.IndexByte("=+-@", s[1]) >= 0 {
		s = s[1:]
	}
	limit := maxName
	switch f {
	case fNote:
		limit = maxNote
	case fReason, fWhat:
		limit = fleet.MaxWords // as its page takes
	}
	if len(s) > limit && utf8.RuneCountInString(s) > limit {
		l.fault(f, s, "longer than %d characters: shorten it", limit)
	}
	for _, c := range s {
		if c < ' ' && !(f == fNote && (c == '\n' || c == '\t' || c == '\r')) || c >= 0x7f && unicode.IsControl(c) || c == utf8.RuneError {
			l.fault(f, s, "has a character that is no text: type it anew")
			break
		}
	}
	return s
}

// vehicle reads the vehicle's number and fleet into row.
func (l *line) vehicle(row *Row) {
	row.Line = l.rec.line
	row.Vehicle = l.text(fVehicle)
	row.Fleet = l.text(fFleet)
	switch {
	case row.Vehicle == "":
		l.fault(fVehicle, "", "blank: write the vehicle's number")
	case lostDigits(row.Vehicle):
		l.fault(fVehicle, row.Vehicle, "a spreadsheet has made a rounded number of this: format the column as text and type it anew")
	}
}

// lostDigits finds a long number as spreadsheets write it: 1.23457E+15.
func lostDigits(s string) bool {
	digits, exponent, ok := strings.Cut(s, "E+")
	return ok && isDigits(exponent) && numeric(digits, "0123456789.,")
}

func (l *line) date() fleet.Date {
	s := l.cell(fDate)
	if s == "" {
		l.fault(fDate, "", "blank: write the day, such as 2026-03-01")
		return 0
	}
	day, fault := l.dates.parse(s)
	if fault != "" {
		l.fault(fDate, s, "%s", fault)
	}
	return day
}

// odometer returns the km of field f, or nil when the cell is blank.
func (l *line) odometer(f field) *float64 {
	s := l.cell(f)
	if s == "" {
		return nil
	}
	x, u, fault := l.number(f, s)
	km := u.convert(x)
	switch {
	case fault != "":
		l.fault(f, s, "%s", withHelp(fault, "write the odometer in digits, such as 155000"))
		return nil
	case km < 0 || km > fleet.MaxOdometerKm:
		l.fault(f, s, "no odometer shows that: want 0 to %d %s", int(fleet.MaxOdometerKm/u.factor), u.name)
		return nil
	}
	if len(l.kms) == cap(l.kms) {
		l.kms = make([]float64, 0, moreRoom(cap(l.kms)))
	}
	l.kms = append(l.kms, km)
	return &l.kms[len(l.kms)-1]
}

// number reads cell s of field f as a number in the unit that holds for it. That
// cells say another unit than their column is noted once for a column.
func (l *line) number(f field, s string) (x float64, u unit, fault string) {
	column := l.lay.units[f]
	number, u := ownUnit(s, column)
	if u != column && !l.otherUnit[f] {
		l.otherUnit[f] = true
		l.add(fleet.Problem{Line: l.rec.line, Column: l.column(f), Read: s,
			Message: fmt.Sprintf("the column is in %s and this cell says %s: read in %s, as all cells that say so", column.name, u.name, u.name)})
	}
	// A cell with a unit was typed by a person, in whatever file.
	x, fault = parseNumber(number, u.grouped(), l.form.exact && number == s)
	return x, u, fault
}

// withHelp adds what to do to a fault that does not say it.
func withHelp(fault, help string) string {
	if strings.Contains(fault, ":") {
		return fault
	}
	return fault + ": " + help
}

// axle reads an axle's number; the vehicle's axles tell what "front" and
// "rear" are.
func (l *line) axle(column, s string, row *Row) (n int, fault string) {
	if len(s) == 1 && s[0] >= '1' && s[0] <= '9' {
		return int(s[0] - '0'), ""
	}
	word := strings.ToLower(s)
	if word == "front" || word == "rear" {
		count := 0
		if l.opt.AxleCount != nil {
			count = l.opt.AxleCount(row.Fleet, row.Vehicle)
		}
		if count != 2 {
			return 0, "clear only for a vehicle that is known to have two axles: write the axle's number, 1 is the front"
		}
		if word == "front" {
			return 1, ""
		}
		return 2, ""
	}
	for _, prefix := range []string{"axle", "ax", "a"} {
		if rest, ok := strings.CutPrefix(word, prefix); ok {
			word = strings.TrimSpace(rest)
			break
		}
	}
	n, err := strconv.Atoi(strings.TrimSuffix(word, ".0"))
	if err != nil || n < 1 || n > fleet.MaxAxle {
		return 0, fmt.Sprintf("no axle: write its number, 1 (front) to %d", fleet.MaxAxle)
	}
	return n, ""
}

func (l *line) vehicleEntry() {
	var row Row
	l.vehicle(&row)
	e := &VehicleEntry{Fleet: row.Fleet, Depot: l.text(fDepot), Vehicle: fleet.Vehicle{
		Number:   row.Vehicle,
		Plate:    l.text(fPlate),
		Category: fleet.Category(strings.ToUpper(l.text(fCategory))),
		Make:     l.text(fMake),
		Model:    l.text(fModel),
		Duty:     l.text(fDuty),
	}}
	if e.Category != "" && !e.Category.Valid() {
		l.fault(fCategory, string(e.Category), "no such category: want one of M1 M2 M3 N1 N2 N3 O1 O2 O3 O4, or blank")
	}
	if s := l.cell(fYear); s != "" {
		year, err := strconv.Atoi(strings.TrimSuffix(s, ".0"))
		probe := fleet.Vehicle{Number: "1", Year: year}
		if err != nil || year == 0 || probe.Validate() != nil {
			l.fault(fYear, s, "no year of manufacture: want four digits such as 2021, or blank")
		}
		e.Year = year
	}
	if s := l.cell(fFirstUsed); s != "" {
		var fault string
		if e.FirstUsed, fault = l.dates.parse(s); fault != "" {
			l.fault(fFirstUsed, s, "%s", fault)
		}
	}
	if s := strings.ToLower(l.cell(fActuation)); s != "" {
		if e.Actuation = actuationOf(s); e.Actuation == "" {
			l.fault(fActuation, s, "not known: want air, hydraulic or electric, or blank")
		}
	}
	e.GrossKg = l.quantity(fGross)
	if probe := e.Vehicle; !l.bad {
		if err := probe.Validate(); err != nil {
			l.fault(fFirstUsed, l.cell(fFirstUsed), "%v", err)
		}
	}
	if !l.bad {
		row.Entry = e
		l.queue = append(l.queue, row)
	}
}

func (l *line) odometerReading() {
	var row Row
	l.vehicle(&row)
	o := &fleet.Odometer{Date: l.date()}
	km := l.odometer(fOdometer)
	o.PreviousKm = l.odometer(fPrevious)
	if km == nil && !l.bad {
		l.fault(fOdometer, "", "blank: write the odometer, or leave the row out")
	}
	if !l.bad {
		o.Km = *km
		row.Odometer = o
		l.queue = append(l.queue, row)
	}
}

func (l *line) axleSpec() {
	var row Row
	l.vehicle(&row)
	a := &fleet.Axle{Specs: map[fleet.Part]fleet.Spec{}}
	if s := l.cell(fAxle); s == "" {
		l.fault(fAxle, "", "blank: write the axle's number, 1 is the front")
	} else if n, fault := l.axle(l.column(fAxle), s, &row); fault != "" {
		l.fault(fAxle, s, "%s", fault)
	} else {
		a.Number = n
	}
	s := l.cell(fBrake)
	switch strings.ToLower(s) {
	case "":
	case "disc", "disk", "disc brake", "disk brake":
		a.Brake = fleet.DiscBrake
	case "drum", "drum brake":
		a.Brake = fleet.DrumBrake
	default:
		l.fault(fBrake, s, "no kind of brake: want disc or drum")
	}
	for i, p := range fleet.Parts {
		l.partSpec(a, i, p)
	}
	if a.Brake == "" && !l.bad {
		l.fault(fBrake, s, "blank, and no part tells it: write disc or drum")
	}
	if l.bad {
		return
	}
	if err := a.Validate(); err != nil {
		l.fault(fBrake, s, "%v", err)
		return
	}
	row.Axle = a
	l.queue = append(l.queue, row)
}

// partSpec reads the new and limit value of a part into a, and the kind of
// brake where the file has not said it.
func (l *line) partSpec(a *fleet.Axle, i int, p fleet.Part) {
	var mm [2]float64
	var given [2]string
	for j, limit := range []bool{false, true} {
		f := specField(i, limit)
		if given[j] = l.cell(f); given[j] == "" {
			continue
		}
		x, fault := parseLength(given[j], l.lay.units[f], l.form.exact)
		if fault == "" && x.atMost {
			fault = "not a number"
		}
		if fault != "" {
			l.fault(f, given[j], "%s", withHelp(fault, "write millimetres such as 19.5"))
			return
		}
		mm[j] = x.mm
	}
	switch {
	case given[0] == "" && given[1] == "":
		return
	case given[0] == "":
		l.fault(specField(i, false), "", "blank, but the %s's limit is given: write its new value too", p)
		return
	case given[1] == "":
		l.fault(specField(i, true), "", "blank, but the %s's new value is given: write its limit too", p)
		return
	}
	spec := fleet.Spec{New: mm[0], Limit: mm[1], Source: "maker"}
	if err := spec.Validate(p); err != nil {
		l.fault(specField(i, true), given[1], "%v: correct one of the two", err)
		return
	}
	brake := fleet.DiscBrake
	if p.Of(fleet.DrumBrake) {
		brake = fleet.DrumBrake
	}
	if a.Brake == "" {
		a.Brake = brake
	}
	if a.Brake != brake {
		l.fault(specField(i, false), given[0], "a %s brake has no %s: correct the brake or clear the cell", a.Brake, p)
		return
	}
	a.Specs[p] = spec
}
