package rules

import (
	"math"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
)

func find(t *testing.T, id string) *Set {
	t.Helper()
	s, err := Find(id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestTables wants every row of the tables to be whole and to be used.
func TestTables(t *testing.T) {
	used := map[*Value]bool{}
	for _, s := range Sets() {
		for _, u := range s.Uses() {
			used[u.Value] = true
			if _, formula := u.Value.At(60); u.What != Words && (u.Value.Side() == 0 || math.IsNaN(u.Value.Number()) && !formula) {
				t.Errorf("%s: %s %s is no number with a comparison", s.ID, u.What, u.Value.ID)
			}
			if u.What == StoppingDistance && u.SpeedKmh == 0 {
				t.Errorf("%s: %s has no speed", s.ID, u.Value.ID)
			}
			for _, c := range u.Categories {
				if !c.Valid() {
					t.Errorf("%s: %s is for category %q", s.ID, u.Value.ID, c)
				}
			}
		}
	}
	for _, x := range defaultThresholds {
		used[x.Published] = true
		if x.Published.Side() == 0 || math.IsNaN(x.X) {
			t.Errorf("threshold %s: %s is no number with a comparison", x.Key, x.Published.ID)
		}
	}
	text := standInsCSV
	for _, v := range values {
		if !used[v] && !strings.Contains(text, v.ID) {
			t.Errorf("%s: in the table, but nothing uses it", v.ID)
		}
		if v.Quantity == "" || v.Text == "" || v.Source == "" || v.Section == "" {
			t.Errorf("%s: a cell is blank", v.ID)
		}
		if !slices.Contains([]Known{Read, Memory, OwnJudgement}, v.Known) {
			t.Errorf("%s: known %q", v.ID, v.Known)
		}
	}
	if len(values) != len(valueOf) {
		t.Errorf("%d values with %d ids", len(values), len(valueOf))
	}
	newer, _ := Lookup("EU-19")
	for _, u := range find(t, "eu").Uses() {
		if u.FirstUsed.Op != "" && fleet.Date(u.FirstUsed.X).String() != newer.Text {
			t.Errorf("%s: for vehicles %s %s, but EU-19 is %s", u.Value.ID, u.FirstUsed.Op, fleet.Date(u.FirstUsed.X), newer.Text)
		}
	}
}

func day(t *testing.T, s string) fleet.Date {
	t.Helper()
	if s == "" {
		return 0
	}
	d, err := fleet.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestThickness compares limits with the documents, and what is exactly at
// them with how they are worded.
func TestThickness(t *testing.T) {
	heavy := fleet.Vehicle{Category: "N3", Actuation: fleet.Air}
	wet := fleet.Vehicle{Category: "N2", Actuation: fleet.Hydraulic}
	car := fleet.Vehicle{Category: "M1"}
	for _, c := range []struct {
		set     string
		v       fleet.Vehicle
		axle    int
		part    fleet.Part
		id      string // "" = none
		mm      float64
		atFails bool // whether exactly mm fails
	}{
		{"uk", car, 1, fleet.Pad, "UK-01", 1.5, false},          // MOT manual, cars, 1.1.13(a)(ii): "below 1.5 mm"
		{"uk", car, 2, fleet.Lining, "UK-01", 1.5, false},       //
		{"uk", car, 1, fleet.Rotor, "", 0, false},               // no millimetres
		{"uk", heavy, 1, fleet.Pad, "", 0, false},               //
		{"eu", car, 1, fleet.Pad, "", 0, false},                 // 2014/45/EU 1.1.13: the maker's mark
		{"au", heavy, 1, fleet.Lining, "", 0, false},            // the maker's limit
		{"maker", heavy, 1, fleet.Lining, "", 0, false},         //
		{"us-393", heavy, 1, fleet.Pad, "US-03", 3.2, false},    // 393.47(d)(1)
		{"us-393", heavy, 1, fleet.Lining, "US-02", 6.4, false}, // 393.47(d)(1), shoe with two pads
		{"us-393", heavy, 3, fleet.Lining, "US-05", 6.4, false}, // 393.47(d)(2)
		{"us-393", heavy, 2, fleet.Pad, "US-06", 3.2, false},    // 393.47(d)(2)
		{"us-393", wet, 1, fleet.Pad, "US-04", 1.6, true},       // 393.47(d)(1): "1.6 mm or less"
		{"us-393", wet, 2, fleet.Pad, "US-07", 1.6, false},      // 393.47(d)(2): "less than 1.6 mm"
		{"us-396", heavy, 1, fleet.Lining, "US-12", 6.35, false},
		{"us-396", heavy, 2, fleet.Lining, "US-09", 6.35, false},
		{"us-396", heavy, 2, fleet.Pad, "US-11", 3.175, false},
		{"us-396", wet, 2, fleet.Lining, "US-10", 1.5875, true},                                               // Appendix A 1.a.(6)(c): 1/16 in "or less"
		{"us-396", wet, 1, fleet.Pad, "US-13", 1.5875, true},                                                  // (d)
		{"us-396", wet, 2, fleet.Pad, "", 0, false},                                                           // the table has none for these
		{"us-393", car, 1, fleet.Pad, "US-32", 0.79375, false},                                                // 570.5: 1/32 in, from memory
		{"us-393", fleet.Vehicle{Category: "O4", Actuation: fleet.Air}, 1, fleet.Lining, "US-05", 6.4, false}, // a trailer does not steer
	} {
		b := find(t, c.set).Thickness(&c.v, c.axle, c.part)
		switch {
		case c.id == "" && b != nil:
			t.Errorf("%s %s axle %d %s: got %s %g mm, want none", c.set, c.v.Category, c.axle, c.part, b.Use.Value.ID, b.Limit)
		case c.id == "":
		case b == nil:
			t.Errorf("%s %s axle %d %s: got none, want %s", c.set, c.v.Category, c.axle, c.part, c.id)
		case b.Use.Value.ID != c.id || b.Limit != c.mm || b.Fails(c.mm) != c.atFails || !b.Fails(c.mm-0.01) || b.Fails(c.mm+0.01):
			t.Errorf("%s %s axle %d %s: got %s %g mm, at it %v; want %s %g mm, %v",
				c.set, c.v.Category, c.axle, c.part, b.Use.Value.ID, b.Limit, b.Fails(b.Limit), c.id, c.mm, c.atFails)
		}
	}
	// 1/16 in is 1.5875 mm, but 393.47 prints 1.6 mm: a lining of 1.59 mm
	// fails one and passes the other.
	if by393, by396 := find(t, "us-393").Thickness(&wet, 2, fleet.Lining), find(t, "us-396").Thickness(&wet, 2, fleet.Lining); !by393.Fails(1.59) || by396.Fails(1.59) {
		t.Errorf("1.59 mm: fails 393.47 %v and Appendix A %v, want true and false", by393.Fails(1.59), by396.Fails(1.59))
	}
}

// TestUnknown wants the strictest of what may apply, and what would tell.
func TestUnknown(t *testing.T) {
	b := find(t, "us-393").Thickness(&fleet.Vehicle{Category: "N2"}, 2, fleet.Pad)
	if b == nil || b.Use.Value.ID != "US-06" || !slices.Equal(b.Unknown, []string{"how its brakes are worked"}) || len(b.Others) != 1 || b.Others[0].Value.ID != "US-07" {
		t.Errorf("N2 of unknown actuation: got %+v, want US-06 and beside it US-07", b)
	}
	if b := find(t, "us-393").Thickness(&fleet.Vehicle{}, 1, fleet.Pad); b != nil {
		t.Errorf("no category: got %s, want none", b.Use.Value.ID)
	}
}

// TestGrossOfCategory: which requirement may apply to a vehicle of unknown mass follows from
// its category's bounds (UNECE R.E.3, section 2: M2 up to 5000 kg, N1 3500, N2 12000, O2 3500,
// O3 10000) and the values' (49 CFR 393.52 and 570: 10,000 lb = 4535.924 kg; Australia: 4500 and
// 2500 kg).
func TestGrossOfCategory(t *testing.T) {
	for _, c := range []struct {
		set      string
		category fleet.Category
		what     What
		id       string // "" = none
		unknown  bool   // whether its mass would tell
	}{
		{"us-393", "M2", StoppingDistance, "US-21c", true},
		{"us-393", "M3", StoppingDistance, "US-22c", false},
		{"us-393", "N1", StoppingDistance, "US-23c", false},
		{"us-393", "N2", StoppingDistance, "US-23c", true},
		{"us-393", "N3", StoppingDistance, "US-24c", false},
		{"us-393", "O2", Imbalance, "", false},
		{"us-393", "O3", Imbalance, "US-30", true},
		{"us-393", "O4", Imbalance, "US-30", false},
		{"au", "N1", StoppingDistance, "AU-09.1", true},
		{"au", "N2", StoppingDistance, "AU-09.2", false},
		{"au", "N3", PedalForce, "", false},
		{"au", "N2", PedalForce, "AU-03", true},
		{"au", "N1", PedalForce, "AU-03", false},
	} {
		b := find(t, c.set).Bound(&fleet.Vehicle{Category: c.category}, fleet.ServiceBrake, c.what)
		id, unknown := "", false
		if b != nil {
			id, unknown = b.Use.Value.ID, slices.Contains(b.Unknown, "its gross mass")
		}
		if id != c.id || unknown != c.unknown {
			t.Errorf("%s %s %s: got %q, its mass would tell %v; want %q, %v", c.set, c.category, c.what, id, unknown, c.id, c.unknown)
		}
	}
}

// TestEfficiency compares least efficiencies with COM(2012) 380 (taken into
// 2014/45/EU), 1.2.2, and with the UK manuals.
func TestEfficiency(t *testing.T) {
	for _, c := range []struct {
		set      string
		category fleet.Category
		first    string // day of first use
		year     int
		id       string
		percent  float64
		unknown  bool
	}{
		{"eu", "M1", "2012-01-01", 0, "EU-01", 58, false},
		{"eu", "M1", "2011-12-31", 0, "EU-07", 50, false},
		{"eu", "M1", "", 2012, "EU-01", 58, false},
		{"eu", "M1", "", 2011, "EU-07", 50, false},
		{"eu", "M1", "2012-03-01", 2011, "EU-01", 58, false}, // the day decides
		{"eu", "M1", "", 0, "EU-01", 58, true},
		{"eu", "M2", "2020-05-04", 0, "EU-02", 50, false},
		{"eu", "M3", "2008-05-04", 0, "EU-07", 50, false},
		{"eu", "N1", "2020-05-04", 0, "EU-03", 50, false},
		{"eu", "N1", "2008-05-04", 0, "EU-08", 45, false},
		{"eu", "N2", "2020-05-04", 0, "EU-04", 50, false},
		{"eu", "N3", "2008-05-04", 0, "EU-09", 43, false},
		{"eu", "O4", "2020-05-04", 0, "EU-06", 50, false}, // EU-05, 45 %, for a semi-trailer stands beside it
		{"eu", "O3", "2008-05-04", 0, "EU-10", 40, false},
		{"eu", "O1", "2020-05-04", 0, "", 0, false},
		{"uk", "M1", "2010-09-01", 0, "UK-08", 58, false},
		{"uk", "M1", "2010-08-31", 0, "BW-01", 50, false},
		{"uk", "M1", "", 2010, "UK-08", 58, true}, // before or after 1 September
		{"uk", "N3", "2015-01-01", 0, "UK-19.1", 50, false},
		{"uk", "O4", "2015-01-01", 0, "UK-19.2", 45, false},
		{"us-393", "M1", "", 0, "US-20a", 65.2, false},
		{"us-393", "M3", "", 0, "US-22a", 43.5, false},
		{"us-396", "N3", "", 0, "US-24a", 43.5, false},
		{"us-396", "N2", "", 0, "US-23a", 52.8, true}, // 3.5 t to 12 t: 10,000 lb lies within
		{"maker", "M1", "2020-05-04", 0, "", 0, false},
	} {
		v := fleet.Vehicle{Category: c.category, FirstUsed: day(t, c.first), Year: c.year}
		b := find(t, c.set).Bound(&v, fleet.ServiceBrake, Efficiency)
		switch {
		case c.id == "" && b != nil:
			t.Errorf("%s %s: got %s, want none", c.set, c.category, b.Use.Value.ID)
		case c.id == "":
		case b == nil:
			t.Errorf("%s %s %s: got none, want %s", c.set, c.category, c.first, c.id)
		case b.Use.Value.ID != c.id || b.Limit != c.percent || (len(b.Unknown) > 0) != c.unknown || b.Fails(c.percent):
			t.Errorf("%s %s %s %d: got %s %g %%, unknown %v; want %s %g %%, %v", c.set, c.category, c.first, c.year, b.Use.Value.ID, b.Limit, b.Unknown, c.id, c.percent, c.unknown)
		}
	}
}

// TestVehicleBounds compares other requirements with their documents.
func TestVehicleBounds(t *testing.T) {
	for _, c := range []struct {
		set   string
		v     fleet.Vehicle
		sys   fleet.BrakeSystem
		what  What
		id    string
		limit float64
	}{
		{"eu", fleet.Vehicle{Category: "M1"}, fleet.ServiceBrake, PedalForce, "UN-01F", 500},
		{"eu", fleet.Vehicle{Category: "N3"}, fleet.ServiceBrake, PedalForce, "UN-04F", 700},
		{"eu", fleet.Vehicle{Category: "N3"}, fleet.SecondaryBrake, PedalForce, "UN-11.4", 700},
		{"eu", fleet.Vehicle{Category: "N3"}, fleet.ServiceBrake, EfficiencyDanger, "EU-11", 50},
		{"us-393", fleet.Vehicle{Category: "M1"}, fleet.ServiceBrake, MeanDeceleration, "US-20b", 21 * 0.3048},
		{"us-393", fleet.Vehicle{Category: "M1"}, fleet.ServiceBrake, StoppingDistance, "US-20c", 20 * 0.3048},
		{"us-393", fleet.Vehicle{Category: "M1"}, fleet.SecondaryBrake, StoppingDistance, "US-20d", 54 * 0.3048},
		{"us-396", fleet.Vehicle{Category: "O4"}, fleet.ServiceBrake, StoppingDistance, "US-25c", 40 * 0.3048},
		{"au", fleet.Vehicle{Category: "M1", GrossKg: 1900}, fleet.ServiceBrake, MeanDeceleration, "AU-10.1", 3.8},
		{"au", fleet.Vehicle{Category: "M1", GrossKg: 2500}, fleet.ServiceBrake, MeanDeceleration, "AU-01", 2.9},
		{"au", fleet.Vehicle{Category: "N3", GrossKg: 23000}, fleet.ServiceBrake, MeanDeceleration, "AU-10.2", 2.8},
		{"au", fleet.Vehicle{Category: "N3"}, fleet.ServiceBrake, PeakDeceleration, "AU-11.2", 4.4},
		{"au", fleet.Vehicle{Category: "M1", GrossKg: 1900}, fleet.ServiceBrake, PedalForce, "AU-03", 885},
		{"au", fleet.Vehicle{Category: "N3"}, fleet.SecondaryBrake, MeanDeceleration, "AU-12.2", 1.1},
		{"uk", fleet.Vehicle{Category: "N3"}, fleet.ServiceBrake, PassesOnLocks, "UK-15", 50},
	} {
		b := find(t, c.set).Bound(&c.v, c.sys, c.what)
		if b == nil || b.Use.Value.ID != c.id || math.Abs(b.Limit-c.limit) > 1e-9 {
			t.Errorf("%s %s %s %s: got %+v, want %s %g", c.set, c.v.Category, c.sys, c.what, b, c.id, c.limit)
		}
	}
}

// TestAcross: exactly 30 % passes (MOT test, 2013 change notice: "greater than
// 30 %"; Directive 2010/48/EU 1.2.1(b): "below 70 %"), and more than 50 % on a
// steered axle is dangerous.
func TestAcross(t *testing.T) {
	for _, c := range []struct {
		set       string
		category  fleet.Category
		axle      int
		fails     float64
		dangerous bool
	}{
		{"eu", "M1", 1, 30, true},
		{"eu", "M1", 2, 30, false},
		{"uk", "M1", 1, 30, true},
		{"uk", "N3", 1, 30, false},
		{"us-393", "N3", 1, 25, false},
		{"maker", "N3", 1, 0, false},
	} {
		v := fleet.Vehicle{Category: c.category}
		fails, danger := find(t, c.set).Across(&v, fleet.ServiceBrake, c.axle)
		if (fails == nil) != (c.fails == 0) || (danger != nil) != c.dangerous {
			t.Errorf("%s %s axle %d: got %+v and %+v", c.set, c.category, c.axle, fails, danger)
			continue
		}
		if fails != nil && (fails.Limit != c.fails || fails.Fails(c.fails) || !fails.Fails(c.fails+0.01)) {
			t.Errorf("%s %s axle %d: got %g %%, exactly it fails %v", c.set, c.category, c.axle, fails.Limit, fails.Fails(c.fails))
		}
		if danger != nil && (danger.Limit != 50 || danger.Fails(50) || !danger.Fails(50.1)) {
			t.Errorf("%s %s axle %d: dangerous beyond %g %%", c.set, c.category, c.axle, danger.Limit)
		}
	}
}

// TestLimit wants the stricter of the maker's and the rule set's, the
// workshop's before both, and a stand-in's only where nothing else is known.
func TestLimit(t *testing.T) {
	truck := fleet.Vehicle{Category: "N3", Actuation: fleet.Air}
	maker := func(newMM, limit float64) fleet.Spec {
		return fleet.Spec{New: newMM, Limit: limit, Source: MakerSource}
	}
	standIn, ok := StandIn("N3", 2, fleet.Pad)
	if !ok {
		t.Fatal("no stand-in for a heavy pad")
	}
	for _, c := range []struct {
		name   string
		set    string
		part   fleet.Part
		spec   fleet.Spec
		over   float64
		mm     float64
		source string
		note   bool
	}{
		{"maker's is larger", "us-393", fleet.Pad, maker(21, 4), 0, 4, "maker", false},
		{"rule's is larger", "us-393", fleet.Pad, maker(21, 2), 0, 3.2, "US-06", false},
		{"no rule", "eu", fleet.Pad, maker(21, 2), 0, 2, "maker", false},
		{"none picked", "", fleet.Pad, maker(21, 2), 0, 2, "maker", false},
		{"workshop's", "us-393", fleet.Pad, maker(21, 2), 5, 5, "workshop", false},
		{"stand-in and a rule", "us-396", fleet.Pad, standIn, 0, 3.175, "US-11", false},
		{"stand-in and no rule", "eu", fleet.Pad, standIn, 0, 3.2, "stand-in", false},
		{"drum", "us-393", fleet.Drum, maker(410, 414), 0, 414, "maker", false},
		{"drum of the workshop", "us-393", fleet.Drum, maker(410, 414), 413, 413, "workshop", false},
		{"rule's is no thinner than new", "us-393", fleet.Lining, maker(5, 1.5), 0, 1.5, "maker", true},
	} {
		l := find(t, c.set).Limit(&truck, 2, c.part, c.spec, c.over)
		if l.MM != c.mm || l.Source() != c.source || (l.Note != "") != c.note {
			t.Errorf("%s: got %g mm of %s, note %q; want %g mm of %s", c.name, l.MM, l.Source(), l.Note, c.mm, c.source)
		}
	}
	drum := find(t, "us-393").Limit(&truck, 2, fleet.Drum, maker(410, 414), 0)
	if drum.Fails(414) || !drum.Fails(414.1) {
		t.Errorf("a drum at its greatest diameter fails %v, beyond it %v", drum.Fails(414), drum.Fails(414.1))
	}
}

// TestStandIn: the sources are in standins.csv.
func TestStandIn(t *testing.T) {
	for _, c := range []struct {
		category fleet.Category
		axle     int
		part     fleet.Part
		want     fleet.Spec
	}{
		{"M1", 1, fleet.Pad, fleet.Spec{New: 11, Limit: 1.5, Source: "UK-01"}},
		{"", 2, fleet.Pad, fleet.Spec{New: 9, Limit: 1.5, Source: "UK-01"}},
		{"N1", 2, fleet.Lining, fleet.Spec{New: 4.9, Limit: 1.5, Source: "UK-01"}},
		{"M3", 1, fleet.Pad, fleet.Spec{New: 21, Limit: 3.2, Source: "US-03"}},
		{"N3", 2, fleet.Lining, fleet.Spec{New: 19, Limit: 6.4, Source: "US-05"}},
		{"N3", 2, fleet.Drum, fleet.Spec{}},
		{"M1", 1, fleet.Rotor, fleet.Spec{}},
	} {
		got, ok := StandIn(c.category, c.axle, c.part)
		if got != c.want || ok != (c.want.New != 0) {
			t.Errorf("%s axle %d %s: got %+v %v, want %+v", c.category, c.axle, c.part, got, ok, c.want)
		}
	}
}

// TestThresholds: WP-15 to WP-17 trade press, WP-03 to WP-05 service manuals.
func TestThresholds(t *testing.T) {
	ts := ThresholdsWith(map[string]float64{"WP-16": 1.5})
	for _, c := range []struct {
		key      ThresholdKey
		category fleet.Category
		id       string
		x        float64
		changed  bool
	}{
		{PadDifference, "M1", "WP-17.2", 3, false},
		{PadDifference, "", "WP-17.2", 3, false},
		{PadDifference, "N3", "WP-15", 3.5, false},
		{Taper, "N3", "WP-16", 1.5, true},
		{ThicknessVariation, "M1", "WP-04.2", 0.03, false},
		{ThicknessVariationWatch, "M1", "WP-03.2", 0.015, false},
		{Runout, "M3", "WP-05.1", 0.05, false},
	} {
		got := ts.Of(c.key, c.category)
		if got == nil || got.Published.ID != c.id || got.X != c.x || got.Changed != c.changed || got.Shows(c.x) || !got.Shows(c.x+0.001) {
			t.Errorf("%s of %s: got %+v, want %s %g", c.key, c.category, got, c.id, c.x)
		}
	}
	if got := ThresholdsWith(nil).Of(Taper, "N3"); got.X != 2 || got.Changed {
		t.Errorf("unchanged taper: got %+v", got)
	}
}

func TestFind(t *testing.T) {
	if _, err := Find("mars"); err == nil || !strings.Contains(err.Error(), "want one of eu, uk") {
		t.Errorf("got %v", err)
	}
	if got := Or("mars"); got.ID != Unset {
		t.Errorf("got set %q of an id that is none", got.ID)
	}
}

// TestCardSteps: the steps of a job card hold what is measured to the published values that they name.
func TestCardSteps(t *testing.T) {
	found := 0
	for _, step := range fleet.DefaultSteps(fleet.SectionDisc) {
		for _, m := range step.Measures {
			id := map[string]string{"runout": "WP-05.1", "variation": "WP-04.2"}[strings.Fields(m.Name)[0]]
			if id == "" {
				continue
			}
			found++
			if m.High == nil || *m.High != mustValue(id).Number() || !strings.Contains(step.Source, id) {
				t.Errorf("%s of %s: got %v by %s, want at most %g (%s)", m.Name, step.Key, m.High, step.Source, mustValue(id).Number(), id)
			}
		}
	}
	if found != 4 {
		t.Errorf("got %d measures of rotors, want runout and variation of both sides", found)
	}
}
