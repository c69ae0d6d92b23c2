package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const rollerHeader = "vehicle,date,method,weight_kg,axle,side,force_n,locked,pedal_n\n"

// TestBrakeTests reads whole files; the expected conversions are exact: 1 lb =
// 0.45359237 kg, g = 9.80665 m/s2, 1 mi = 1.609344 km, 1 ft = 0.3048 m.
func TestBrakeTests(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"lines of two tests", rollerHeader +
			"Bus 1,2026-02-01,roller,1500,1,left,2700,,271\nBus 1,2026-02-01,roller,,1,right,2600,yes,\nBus 1,2026-02-02,roller,1500,1,left,2500,,\n", []string{
			"2 Bus 1: 2026-02-01 roller service brake  no km, 2 lines, 1500 kg, 271 N on the pedal, axle 1 left 2700 N, axle 1 right 2600 N locked (N)",
			"4 Bus 1: 2026-02-02 roller service brake  no km, 1 lines, 1500 kg, axle 1 left 2500 N (N)",
		}},
		{"a wheel again begins another test", rollerHeader +
			"Bus 1,2026-02-01,roller,1500,1,left,2700,,\nBus 1,2026-02-01,roller,1500,1,left,2600,,\n", []string{
			"2 Bus 1: 2026-02-01 roller service brake  no km, 1 lines, 1500 kg, axle 1 left 2700 N (N)",
			"3 Bus 1: 2026-02-01 roller service brake  no km, 1 lines, 1500 kg, axle 1 left 2600 N (N)",
		}},
		{"other words and units", "Bus;Tested on (dd/mm/yyyy);Test type;Brake tested;Before or after;Test weight (lbs);Axle no;Wheel;Effort kgf;Pedal force (lbf)\n" +
			"Bus 1;01/02/2026;RBT;hand brake;before;22046;A2;RH;1.000,5;50\n", []string{
			"2 Bus 1: 2026-02-01 roller parking brake before no km, 1 lines, 9999.9 kg, 222.411 N on the pedal, axle 2 right 9811.55 N (kgf)",
		}},
		{"decelerometer in g", "vehicle,date,method,mean (g),peak g\nBus 1,2026-02-01,decelerometer,0.55,0.72\n", []string{
			"2 Bus 1: 2026-02-01 decelerometer service brake  no km, 1 lines, 5.39366 m/s2 mean, 7.06079 m/s2 peak",
		}},
		{"stops, one a line", "vehicle,date,method,speed mph,distance (ft),mean deceleration (ft/s2)\nBus 1,2026-02-01,stop,20,30,\nBus 1,2026-02-01,stop,20,31,14\n", []string{
			"2 Bus 1: 2026-02-01 stop service brake  no km, 1 lines, 32.1869 km/h, 9.144 m",
			"3 Bus 1: 2026-02-01 stop service brake  no km, 1 lines, 4.2672 m/s2 mean, 32.1869 km/h, 9.4488 m",
		}},
		{"mean fully developed deceleration", "vehicle,date,method,speed_km_h,distance_m,begin_m,end_m,mean_m_s2\nBus 1,2026-02-01,stop,60,45,12,40,\n", []string{
			"2 Bus 1: 2026-02-01 stop service brake  no km, 1 lines, 60 km/h, 45 m, 12 m to 0.8, 40 m to 0.1",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, r := mustRead(t, c.text, Options{})
			if r.Kind() != BrakeTests || r.Refused() != 0 {
				t.Errorf("got a file of %s, refused %q", r.Kind(), showProblems(r.Problems()))
			}
			if d := cmp.Diff(c.want, showAll(rows)); d != "" {
				t.Error(d)
			}
		})
	}
}

// TestBrakeTestJSON: an array of the same names, the last test closed by the
// end of the array.
func TestBrakeTestJSON(t *testing.T) {
	text := `[{"vehicle":"Bus 1","date":"2026-02-01","method":"roller","weight_kg":1500,"axle":1,"side":"left","force_n":2700},
		{"vehicle":"Bus 1","date":"2026-02-01","method":"roller","axle":1,"side":"right","force_n":2600,"locked":true},
		{"vehicle":"Bus 1","date":"2026-02-01","method":"decelerometer","mean_m_s2":5.5}]`
	rows, r := mustRead(t, text, Options{Kind: BrakeTests})
	want := []string{
		"1 Bus 1: 2026-02-01 roller service brake  no km, 2 lines, 1500 kg, axle 1 left 2700 N, axle 1 right 2600 N locked (N)",
		"3 Bus 1: 2026-02-01 decelerometer service brake  no km, 1 lines, 5.5 m/s2 mean",
	}
	if d := cmp.Diff(want, showAll(rows)); d != "" || r.Refused() != 0 {
		t.Error(d, showProblems(r.Problems()))
	}
}

// TestBrakeTestProblems has a good test before and after each bad one.
func TestBrakeTestProblems(t *testing.T) {
	const good = "Bus 1,2026-02-01,roller,1500,1,left,2700,,\nBus 1,2026-02-01,roller,,1,right,2600,,\n"
	for _, c := range []struct {
		name, lines string
		want        []string // among the problems
		refused     int
	}{
		{"no such method", "Bus 2,2026-02-01,magic,1500,1,left,2700,,\n", []string{`4 refused method "magic": no method: want roller, plate, decelerometer or stop`}, 1},
		{"no force", "Bus 2,2026-02-01,roller,1500,1,left,,,\n", []string{`4 refused force_n "": no force: write it, or leave the wheel out`}, 1},
		{"no side", "Bus 2,2026-02-01,roller,1500,1,,2700,,\n", []string{`4 refused side "": no side: want left or right`}, 1},
		{"by the road", "Bus 2,2026-02-01,roller,1500,1,nearside,2700,,\n", []string{`4 refused side "nearside": which side that is depends on the country: write left or right, seen in the direction of travel`}, 1},
		{"no axle", "Bus 2,2026-02-01,roller,1500,,left,2700,,\n", []string{`4 refused axle "": blank: of which axle is the force? write its number, 1 is the front`}, 1},
		{"thousands or decimals", "Bus 2,2026-02-01,roller,1500,1,left,2.700,,\n", []string{`4 refused force_n "2.700": may be thousands or decimals: write it without a sign between thousands, such as 2700`}, 1},
		{"below 0", "Bus 2,2026-02-01,roller,1500,1,left,-5,,\n", []string{`4 refused force_n "-5": below 0: correct it`}, 1},
		{"locked or not", "Bus 2,2026-02-01,roller,1500,1,left,2700,perhaps,\n", []string{`4 refused locked "perhaps": want yes or no`}, 1},
		{"kN under N", "Bus 2,2026-02-01,roller,1.5,1,left,2700,,\n", []string{`4 refused  "": an efficiency of 18355 % cannot be: check the units, and that the weight is the whole vehicle's`}, 1},
		{"nothing of its method", "Bus 2,2026-02-01,decelerometer,,,,,,\n", []string{`4 refused  "": a decelerometer test needs a mean or a peak deceleration`}, 1},
		{"forces of a decelerometer", "Bus 2,2026-02-01,decelerometer,1500,1,left,2700,,\n", []string{`4 refused  "": a decelerometer test needs a mean or a peak deceleration`}, 1},
		{"one wheel of a test", "Bus 2,2026-02-01,roller,1500,1,left,2700,,\nBus 2,2026-02-01,roller,,1,both,2600,,\nBus 2,2026-02-01,roller,,2,left,2600,,\n", []string{
			`5 refused side "both": no side: want left or right`,
			`4 refused  "": line 5 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 3},
		{"two weights", "Bus 2,2026-02-01,roller,1500,1,left,2700,,\nBus 2,2026-02-01,roller,1600,1,right,2600,,\n", []string{
			`5 refused weight_kg "1600": differs from line 4 of the same test: write the same, or leave it blank`,
			`4 refused  "": line 5 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 2},
		// A line that may be of a test takes the test with it: it would lack a wheel.
		{"no date in the middle", "Bus 2,2026-02-01,roller,1500,1,left,2700,,\nBus 2,,roller,,1,right,2600,,\nBus 2,2026-02-01,roller,,2,left,2600,,\n", []string{
			`5 refused date "": blank: write the day, such as 2026-03-01`,
			`4 refused  "": line 5 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 3},
		{"no date at first", "Bus 2,,roller,1500,1,left,2700,,\nBus 2,2026-02-01,roller,1500,1,right,2600,,\n", []string{
			`4 refused date "": blank: write the day, such as 2026-03-01`,
			`5 refused  "": line 4 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 2},
		{"a cell too few", "Bus 2,2026-02-01,roller,1500,1,left,2700,,\nBus 2,2026-02-01,roller,,1,right,2600,\n", []string{
			`5 refused  "Bus 2 | 2026-02-01 | roller |  | 1 | right | 2600 | ": the line has 8 cells and the header 9: is it cut off?`,
			`4 refused  "": line 5 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 2},
		{"an open quote", "Bus 2,2026-02-01,roller,1500,1,left,2700,,\n\"Bus 2,2026-02-01,roller,,1,right,2600,,\nBus 2,2026-02-01,roller,,2,left,2600,,\n", []string{
			`5 refused  "\"Bus 2,2026-02-01,roller,,1,right,2600,,": a quote is opened and never closed: close it, or double a quote that belongs to the text`,
			`4 refused  "": line 5 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}, 3},
		// One that cannot be of it leaves it alone.
		{"no date, another brake", "Bus 2,,plate,1500,1,left,2700,,\n", []string{`4 refused date "": blank: write the day, such as 2026-03-01`}, 1},
		{"no date", "Bus 2,,roller,1500,1,left,2700,,\n", []string{`4 refused date "": blank: write the day, such as 2026-03-01`}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, r := mustRead(t, rollerHeader+good+c.lines+good, Options{})
			if len(rows) != 2 || r.Refused() != c.refused {
				t.Errorf("got %q, %d refused; want the two good tests and %d lines refused", showAll(rows), r.Refused(), c.refused)
			}
			if d := cmp.Diff(c.want, showProblems(r.Problems())); d != "" {
				t.Error(d)
			}
		})
	}
}

// TestBrakeTestOdometers: of one test there is one, in any of its lines.
func TestBrakeTestOdometers(t *testing.T) {
	const header = "vehicle,date,odometer_km,method,weight_kg,axle,side,force_n\n"
	for _, c := range []struct {
		second string
		want   []string
	}{
		{"", nil},
		{"155000", nil},
		{"155001", []string{
			`3 refused odometer_km "155001": differs from line 2 of the same test: write the same, or leave it blank`,
			`2 refused  "": line 3 of this test is refused, and without it the test would be wrong: mend it and hand the test in again`}},
	} {
		rows, r := mustRead(t, header+"Bus 2,2026-02-01,155000,roller,1500,1,left,2700\nBus 2,2026-02-01,"+c.second+",roller,,1,right,2600\n", Options{})
		if d := cmp.Diff(c.want, showProblems(r.Problems())); d != "" {
			t.Errorf("%q: %s", c.second, d)
		}
		if c.want == nil && (len(rows) != 1 || rows[0].BrakeTest.OdometerKm == nil || *rows[0].BrakeTest.OdometerKm != 155000) {
			t.Errorf("%q: got %q", c.second, showAll(rows))
		}
	}
}

// TestBrakeTestMoved: where a cell is missing or cut in two, what stands in the
// vehicle's column may be another's, and the line is of the test all the same.
func TestBrakeTestMoved(t *testing.T) {
	const text = "technician,vehicle,date,method,weight_kg,axle,side,force_n\n" +
		"Ada,Bus 2,2026-02-01,roller,1500,1,left,2700\n" +
		"Ada,Bus 2,2026-02-01,roller,,1,right,2600\n" +
		"Lovelace, Ada,Bus 2,2026-02-01,roller,,2,left,2600\n" +
		"Ada,Bus 2,2026-02-01,roller,,2,right,2500\n"
	rows, r := mustRead(t, text, Options{Kind: BrakeTests})
	if len(rows) != 0 || r.Refused() != 4 {
		t.Errorf("got %q, %d lines refused; want no test without its wheel and 4", showAll(rows), r.Refused())
	}
}

// TestBrakeTestNotes: lines that give a note and no wheel may be many, and what
// is joined of them must not be.
func TestBrakeTestNotes(t *testing.T) {
	var b strings.Builder
	b.WriteString("vehicle,date,method,note\n")
	const lines = 50
	for i := range lines {
		fmt.Fprintf(&b, "Bus 2,2026-02-01,roller,%03d%s\n", i, strings.Repeat("x", 500))
	}
	rows, r := mustRead(t, b.String(), Options{})
	if len(rows) != 0 || r.Refused() != lines {
		t.Errorf("got %d tests and %d lines refused, want none and %d", len(rows), r.Refused(), lines)
	}
	// Three of 503 characters and what parts them fit into 2000.
	const want = "5 refused note"
	if got := showProblems(r.Problems()); len(got) == 0 || !strings.HasPrefix(got[0], want) || !strings.Contains(got[0], "longer than 2000 characters") {
		t.Errorf("got %.200q, want first one of line 5", got)
	}
}

// TestVehicleFacts: what rules depend on.
func TestVehicleFacts(t *testing.T) {
	const header = "vehicle,year,first_used,actuation,gross mass (t)\n"
	rows, _ := mustRead(t, header+"Bus 1,2019,2019-05-04,Pneumatic,19\nBus 2,,,,\n", Options{})
	if e := rows[0].Entry; e.FirstUsed.String() != "2019-05-04" || e.Actuation != "air" || e.GrossKg != 19000 {
		t.Errorf("got %+v", e)
	}
	if e := rows[1].Entry; e.FirstUsed != 0 || e.Actuation != "" || e.GrossKg != 0 {
		t.Errorf("nothing is said, but got %+v", e)
	}
	for _, c := range []struct{ cells, want string }{
		{"Bus 1,2019,soon,,", `first_used "soon": not a date`},
		{"Bus 1,2019,2026-03-02,,", "in the future"},
		{"Bus 1,2019,2005-03-02,,", "first used 2 Mar 2005, but made in 2019"},
		{"Bus 1,,,steam,", `actuation "steam": not known: want air, hydraulic or electric, or blank`},
		{"Bus 1,,,,heavy", `gross mass (t) "heavy": not a number: write it in digits, in t`},
		{"Bus 1,,,,19000", "gross mass 19000000 kg"},
	} {
		rows, r := mustRead(t, header+c.cells+"\n", Options{})
		if all := strings.Join(showProblems(r.Problems()), "\n"); len(rows) != 0 || r.Refused() != 1 || !strings.Contains(all, c.want) {
			t.Errorf("%s: got %d rows, %s; want %s", c.cells, len(rows), all, c.want)
		}
	}
}
