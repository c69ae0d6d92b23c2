package pipeline_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// sheet is an invented sheet of 1 March 2026: a disc axle whose pads are read
// apart and a drum axle.
func sheet() *pipeline.Sheet {
	day := fleet.NewDate(2026, time.March, 1)
	last := fleet.NewDate(2026, time.February, 1)
	place := func(axle int, part fleet.Part, side fleet.Side, face fleet.Face, spec fleet.Spec, lastMM, median float64) pipeline.Place {
		return pipeline.Place{
			Position: fleet.Position{Axle: axle, Part: part, Side: side, Face: face},
			Spec:     &spec,
			Last:     &pipeline.LastReading{Date: last, MM: lastMM},
			Likely:   &pipeline.Likely{Median: median, Low: median - 1, High: median + 1},
		}
	}
	pads := fleet.Spec{New: 20, Limit: 3}
	front := func(side fleet.Side, innerMedian float64) pipeline.Wheel {
		return pipeline.Wheel{Axle: 1, Side: side, Brake: fleet.DiscBrake, Places: []pipeline.Place{
			place(1, fleet.Pad, side, fleet.Outer, pads, 8.4, 8),
			place(1, fleet.Pad, side, fleet.Inner, pads, 8.4, innerMedian),
			place(1, fleet.Rotor, side, "", fleet.Spec{New: 45, Limit: 37}, 43, 42.8),
		}}
	}
	rear := func(side fleet.Side) pipeline.Wheel {
		return pipeline.Wheel{Axle: 2, Side: side, Brake: fleet.DrumBrake, Places: []pipeline.Place{
			place(2, fleet.Lining, side, "", fleet.Spec{New: 15, Limit: 5}, 9, 8.6),
			place(2, fleet.Drum, side, "", fleet.Spec{New: 410, Limit: 414}, 412, 412.2),
		}}
	}
	return &pipeline.Sheet{
		Vehicle: fleet.Vehicle{Number: "Bus 1", Category: "M3"},
		Day:     day,
		// 500 km a day at most, and one trip of 300.
		Odometer: &pipeline.SheetOdometer{Date: last, Km: 155_000, PerDay: 500, Besides: 300},
		Wheels:   []pipeline.Wheel{front(fleet.Left, 8), rear(fleet.Left), rear(fleet.Right), front(fleet.Right, 8)},
		ApartMM:  3.5, // WP-15: trade press, heavy vehicles
	}
}

// entry is a value entered: "1-left-outer-pad" 7.4, "odometer" in km, or "odometer, mi".
type entry struct {
	field string
	x     float64
}

// remarksOf runs the remarks of entries, a line each: field, code, "?" where
// it is in doubt.
func remarksOf(sh *pipeline.Sheet, entries []entry) (lines, texts []string) {
	e := pipeline.Entries{MM: map[fleet.Position]float64{}}
	for _, x := range entries {
		if x.field == pipeline.OdometerField {
			e.OdometerKm = &x.x
		}
		if x.field == "odometer, mi" {
			km := x.x * 1.609344 // exact
			e.OdometerKm, e.InMiles = &km, true
		}
		for _, w := range sh.Wheels {
			for _, p := range w.Places {
				if pipeline.FieldOf(p.Position) == x.field {
					e.MM[p.Position] = x.x
				}
			}
		}
	}
	for _, r := range sh.Remarks(e) {
		line := r.Field + " " + r.Code
		if r.Doubt {
			line += "?"
		}
		lines, texts = append(lines, line), append(texts, r.Text)
	}
	return lines, texts
}

func TestRemarks(t *testing.T) {
	const lo, li, ro, ri = "1-left-outer-pad", "1-left-inner-pad", "1-right-outer-pad", "1-right-inner-pad"
	for _, c := range []struct {
		name    string
		entries []entry
		want    string // lines, parted by ", "
		text    string // of one
	}{
		{"nothing", nil, "", ""},
		{"as expected", []entry{{"odometer", 158_000}, {lo, 8.1}, {li, 7.8}, {ro, 8}, {ri, 8.4}}, "", ""},
		{"at the ends of what is likely", []entry{{lo, 7}, {li, 9}}, "", ""},
		{"within a rounding of it", []entry{{lo, 6.96}, {li, 9.04}}, "", ""},
		{"below", []entry{{lo, 6.4}}, lo + " below?", "0.6 mm below what is likely here (7.0 to 9.0 mm)."},
		{"thicker", []entry{{lo, 9.3}}, lo + " gain?", "0.9 mm thicker than on 1 Feb 2026 (8.4 mm), and no new part is on record."},
		{"new", []entry{{lo, 20}}, lo + " gain?", "11.6 mm thicker than on 1 Feb 2026 (8.4 mm), and no new part is on record."},
		{"thicker than new", []entry{{lo, 28}}, lo + " new-plate?", "28.0 mm is more than a new one has (20.0 mm): was the backing plate measured with it?"},
		{"a point left out", []entry{{lo, 85}}, lo + " new-point?", "85.0 mm is more than a new one has (20.0 mm), and 8.5 mm would fit: a point left out, or a digit too many?"},
		{"a point left out, which nobody else is blamed for", []entry{{lo, 85}, {li, 8}, {ro, 8}}, lo + " new-point?", ""},
		{"a rotor's point left out", []entry{{"1-left-rotor", 428}}, "1-left-rotor new-point?", ""},
		{"at the limit", []entry{{lo, 3}}, lo + " limit, " + lo + " below?", "3.0 mm is at or below the limit of 3.0 mm."},
		{"past the limit", []entry{{lo, 2.75}}, lo + " limit, " + lo + " below?", "2.75 mm is at or below the limit of 3.0 mm."},
		{"faces apart", []entry{{lo, 8.9}, {li, 5.3}}, li + " below?, " + li + " faces?", "3.6 mm less than the outer pad of this wheel (8.9 mm): over 3.5 mm points to seized slide pins or a seized piston."},
		{"faces at the edge of apart", []entry{{lo, 8.7}, {li, 5.2}}, li + " below?", ""}, // 3.4999999999999996
		{"sides apart", []entry{{lo, 8.9}, {ro, 5.3}}, ro + " below?, " + ro + " sides?", ""},
		{"rotor", []entry{{"1-left-rotor", 36.9}}, "1-left-rotor limit, 1-left-rotor below?", "36.9 mm is at or below the limit of 37.0 mm."},
		{"rotor thicker than new", []entry{{"1-left-rotor", 45.6}}, "1-left-rotor new?", "45.6 mm is more than a new one has (45.0 mm)."},
		{"rotor by no more than a gauge errs", []entry{{"1-left-rotor", 45.5}}, "1-left-rotor gain?", ""},
		{"rotors are not compared", []entry{{"1-left-rotor", 42}, {"1-right-rotor", 43}}, "", ""},
		{"linings apart", []entry{{"2-left-lining", 9}, {"2-right-lining", 5.4}}, "2-right-lining below?, 2-right-lining sides?", ""},
		{"drum at the limit", []entry{{"2-left-drum", 414}}, "2-left-drum limit-drum, 2-left-drum above?", "414.0 mm is at or above the limit of 414.0 mm."},
		{"drum shrunk", []entry{{"2-left-drum", 411}}, "2-left-drum gain-drum?", "1.0 mm smaller than on 1 Feb 2026 (412.0 mm), and no new drum is on record."},
		{"drum smaller than new", []entry{{"2-left-drum", 409}}, "2-left-drum new-drum?", "409.0 mm is less than a new drum has (410.0 mm)."},
		{"odometer below", []entry{{"odometer", 15_800}}, "odometer km-below?", "Below the 155,000 km of 1 Feb 2026: a digit missing, run back, or another instrument?"},
		// 97,500 mi are 156,911 km (1 mi = 1.609344 km exactly).
		{"odometer in miles", []entry{{"odometer", 97_500}}, "odometer km-miles?", "Below the 155,000 km of 1 Feb 2026, but read as miles it would fit, as 156,911 km. If the instrument shows miles, choose mi."},
		// 158,000 mi are 254,276 km: 99,276 km further than 155,000 km.
		{"odometer in km for miles", []entry{{"odometer, mi", 158_000}}, "odometer km-km?", "99,276 km since 1 Feb 2026: further than this vehicle drives in that time, but read as km it would fit, as 158,000 km. If the instrument shows km, choose km."},
		{"odometer in miles, too far, and below as km", []entry{{"odometer, mi", 110_000}}, "odometer km-far?", ""},
		{"odometer in miles, too far either way", []entry{{"odometer, mi", 170_000}}, "odometer km-far?", ""},
		// 28 days of 500 km and 300 more.
		{"odometer as far as it can be", []entry{{"odometer", 169_300}}, "", ""},
		{"odometer too far", []entry{{"odometer", 169_400}}, "odometer km-far?", "14,400 km since 1 Feb 2026: further than this vehicle drives in that time, up to about 14,300 km."},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, texts := remarksOf(sheet(), c.entries)
			if got := strings.Join(got, ", "); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if c.text != "" && !slices.Contains(texts, c.text) {
				t.Errorf("got %q, want %q", texts, c.text)
			}
		})
	}
}

// TestRemarksByWhatIsKnown has sheets of which less is known, or more.
func TestRemarksByWhatIsKnown(t *testing.T) {
	const lo, li = "1-left-outer-pad", "1-left-inner-pad"
	for _, c := range []struct {
		name    string
		change  func(sh *pipeline.Sheet)
		entries []entry
		want    string
	}{
		{"a difference that is known", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[1].Likely = &pipeline.Likely{Median: 4.2, Low: 3.2, High: 5.2}
		}, []entry{{lo, 8}, {li, 4.3}}, li + " faces"},
		{"the thinner one not forecast", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[1].Likely = nil
		}, []entry{{lo, 8}, {li, 4.3}}, li + " faces?"},
		{"the thicker one not forecast", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Likely, sh.Wheels[0].Places[1].Likely.Median = nil, 4.2
		}, []entry{{lo, 8}, {li, 4.3}}, li + " below?, " + li + " faces?"},
		{"read as the thinner of both: the other one may be thicker", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Thinnest = true
		}, []entry{{lo, 11}}, ""},
		{"but not thinner", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Thinnest = true
		}, []entry{{lo, 6}}, lo + " below?"},
		{"never read", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Last = nil
		}, []entry{{lo, 11}}, lo + " above?"},
		{"no forecast", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Likely = nil
		}, []entry{{lo, 2}}, lo + " limit"},
		{"no specification", func(sh *pipeline.Sheet) {
			sh.Wheels[0].Places[0].Likely, sh.Wheels[0].Places[0].Spec = nil, nil
		}, []entry{{lo, 2}}, ""},
		{"no odometer", func(sh *pipeline.Sheet) { sh.Odometer = nil }, []entry{{"odometer", 5}}, ""},
		{"a later odometer", func(sh *pipeline.Sheet) {
			sh.Odometer.Next = &fleet.Odometer{Date: sh.Day + 1, Km: 156_000}
		}, []entry{{"odometer", 157_000}}, "odometer km-later?"},
	} {
		t.Run(c.name, func(t *testing.T) {
			sh := sheet()
			c.change(sh)
			got, _ := remarksOf(sh, c.entries)
			if got := strings.Join(got, ", "); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
