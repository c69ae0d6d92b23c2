package ingest

import (
	"fmt"
	"slices"
	"strings"

	"brakewear/internal/fleet"
)

// headerLines is how far down a file its header may stand: sheets often have
// a title and a date above it.
const headerLines = 20

// kindOf reads a line as a header of the kind wanted, or of the kind it fits
// best. name is the file's or sheet's: fitments and readings may have the same
// columns.
func kindOf(headers []string, want Kind, name string) *layout {
	if want != "" {
		return match(headers, want)
	}
	var best *layout
	measured := false // by a kind that the header has all of
	for _, k := range []Kind{Readings, Fitments, Odometer, Axles, Vehicles, BrakeTests, Parts, Absences, PlannedVisits} {
		if measured && k == Absences {
			continue // an odometer's or reading's export says where and why as well
		}
		l := match(headers, k)
		if measured && k == PlannedVisits {
			if best.kind == Odometer && l.plan(name) {
				best = l
			}
			continue
		}
		if k == Vehicles && measured && (best.kind != Odometer || !l.has(fCategory)) {
			// The export says make, model and plate beside each reading.
			if l.matched > best.matched {
				best.note("", "read as %s: if this is a list of vehicles, hand it in as vehicles", best.kind)
			}
			continue
		}
		measured = measured || len(l.missing) == 0 && (l.has(fOdometer) || l.has(fValue))
		switch {
		case measured && len(l.missing) > 0 && !l.measures(): // what it has all of goes first
		case best == nil, l.matched > best.matched,
			measured && len(best.missing) > 0 && !best.measures(),
			l.matched == best.matched && len(l.missing) == 0 && len(best.missing) > 0:
			best = l
		case best.kind == Readings && k == Fitments && l.matched == best.matched && len(l.missing) == len(best.missing):
			best = readingsOrFitments(best, l, name)
		}
	}
	return best
}

// measures says whether a header has a column that only readings, fitments, axles or brake
// tests have: what it lacks then was forgotten. Others, such as speed, begin or item, are
// words of many an export of odometers.
func (l *layout) measures() bool {
	if !slices.Contains([]Kind{Readings, Fitments, Axles, BrakeTests}, l.kind) {
		return false
	}
	specs := l.index[fSpec:numFields]
	return len(l.values) > 0 || slices.ContainsFunc(specs[:], func(i int) bool { return i >= 0 }) ||
		slices.ContainsFunc([]field{fAxle, fSide, fFace, fForce, fLocked, fPedal, fMean, fPeak, fStop}, l.has)
}

// readingsOrFitments decides by the file's name between two that the header
// fits alike, and says so where the name does not tell either.
func readingsOrFitments(readings, fitments *layout, name string) *layout {
	name = strings.ToLower(name)
	says := func(word string) bool { return strings.Contains(name, word) }
	switch {
	case slices.ContainsFunc([]string{"fitment", "fitted", "replace", "changed", "renew"}, says):
		return fitments
	case len(readings.values) > 1: // an inspection sheet
	case !slices.ContainsFunc([]string{"reading", "measure", "inspect", "thickness", "wear"}, says):
		readings.note("", "read as readings: if these are parts fitted, hand it in as fitments")
	}
	return readings
}

// plan says of a header that has an odometer's columns too whether it is of planned
// visits: what a vehicle comes in for tells it, but a trip log's events only by the
// file's name.
func (l *layout) plan(name string) bool {
	if len(l.missing) > 0 {
		return false
	}
	name = strings.ToLower(name)
	what := normal(l.headers[l.index[fWhat]])
	return what != "event" && what != "purpose" || strings.Contains(name, "visit") || strings.Contains(name, "planned")
}

// usable says whether l can be the header of a file; without a declared kind
// one word is not enough, for a title may be one.
func (l *layout) usable(want Kind) bool {
	return len(l.missing) == 0 && l.fault == "" && (l.matched > 1 || want != "")
}

// findHeader reads lines from src until one is a header. It returns its
// layout and how many records were read, itself included.
func findHeader(src source, want Kind, name string) (*layout, int, error) {
	var best *layout
	var line int
	for n := 1; n <= headerLines; n++ {
		rec, err := src.next()
		if err != nil {
			return nil, 0, noHeader(best, line, want, name, err)
		}
		if rec.fault != nil {
			continue
		}
		l := kindOf(rec.cells, want, name)
		if l.usable(want) {
			return l, n, nil
		}
		if best == nil || l.matched > best.matched {
			best, line = l, rec.line
		}
	}
	return nil, 0, noHeader(best, line, want, name, nil)
}

// noHeaderError is what is wrong with the line that comes closest to a header.
type noHeaderError struct {
	matched int
	err     error
}

func (e *noHeaderError) Error() string { return e.err.Error() }
func (e *noHeaderError) Unwrap() error { return e.err }

// noHeader says what is wrong with the best line found; err is what ended the
// search before its time, io.EOF or worse.
func noHeader(best *layout, line int, want Kind, name string, err error) error {
	e := &noHeaderError{}
	if best != nil {
		e.matched = best.matched
	}
	switch {
	case best == nil:
		e.err = fleet.Invalidf("%s: the file is empty: the first line must name the columns; a template shows them", name)
	case best.fault != "":
		e.err = fleet.Invalidf("%s, line %d: %s", name, line, best.fault)
	case best.matched > 1 || want != "" && best.matched > 0:
		e.err = fleet.Invalidf("%s, line %d: a file of %s needs %s: name the columns as in the template", name, line, best.kind, missingColumns(best.missing))
	default:
		var read []string
		for _, h := range best.headers[:min(len(best.headers), 4)] {
			read = append(read, fmt.Sprintf("%.40q", h))
		}
		what := "a file of " + kindNames
		if want != "" {
			what = fmt.Sprintf("a file of %s", want)
		}
		e.err = fleet.Invalidf("%s, line %d: these are not the columns of %s: %s; the first line must name them, as in the template", name, line, what, strings.Join(read, ", "))
	}
	return e
}

func missingColumns(names []string) string {
	if len(names) == 1 {
		return "a column " + names[0]
	}
	last := len(names) - 1
	return "the columns " + strings.Join(names[:last], ", ") + " and " + names[last]
}
