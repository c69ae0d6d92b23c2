package demo

import (
	"math"
	"math/rand/v2"

	"brakewear/internal/fleet"
)

const brakeTestsHeader = "vehicle,date,method,brake,stage,weight_kg,axle,side,force_n,locked,pedal_n,mean_m_s2,peak_m_s2,speed_km_h,distance_m,note"

const brakeTestsFile = "brake_tests.csv"

// islandNote is on every brake test of the island: its figures follow no wear,
// only a story.
const islandNote = "invented for the demo"

// testStory is what the brake tests of one vehicle of the island show.
type testStory struct {
	method fleet.Method
	every  int // days between tests; the last one is a few days old
	kg     float64
	// What the first test came to, and by how much each later one differs.
	percent, perTest float64
	pedal, pedalBy   float64
	jobAt            int     // number of the test that a job followed at once, from 1; 0 = none
	across           float64 // difference across axle 1 of the last test, %
	locked           bool    // the last axle locked in the last test
}

// islandTests are made up by hand, so that a visitor can find each kind.
var islandTests = map[string]testStory{
	// Fades from quarter to quarter, and wants an ever harder foot.
	"Bus 103": {method: fleet.Roller, every: 91, kg: 11_800, percent: 64, perTest: -2.6, pedal: 430, pedalBy: 34},
	// Fades, then a job mends it.
	"Bus 112":   {method: fleet.Roller, every: 91, kg: 11_800, percent: 61, perTest: -3.4, pedal: 455, pedalBy: 28, jobAt: 4},
	"Bus 106":   {method: fleet.Roller, every: 91, kg: 11_800, percent: 59, perTest: .1, pedal: 440},
	"Refuse 41": {method: fleet.Roller, every: 91, kg: 15_500, percent: 57, perTest: -.2, pedal: 520},
	"Refuse 48": {method: fleet.Roller, every: 91, kg: 15_500, percent: 53, perTest: -1.2, pedal: 510, locked: true},
	// Pulls to one side.
	"Van 24":   {method: fleet.Roller, every: 182, kg: 2_300, percent: 68, perTest: -.5, pedal: 260, across: 34},
	"Car 65":   {method: fleet.Decelerometer, every: 182, percent: 72, perTest: -1, pedal: 210, pedalBy: 2},
	"Truck 82": {method: fleet.MeasuredStop, every: 182, percent: 58, perTest: -.8},
}

// islandTestCount is how many tests a story has, before a job's second.
const islandTestCount = 5

// writeTests writes the brake tests of a vehicle of the island, if it has any.
func writeTests(t *table, v *Vehicle, until fleet.Date) {
	st, ok := islandTests[v.Number]
	if !ok || v.Fleet != islandFleet {
		return
	}
	r := stream(islandSeed, streamBrakeTest, uint64(len(v.Number)), uint64(v.Number[len(v.Number)-1]))
	percent, pedal := st.percent, st.pedal
	for n := 1; n <= islandTestCount; n++ {
		day := until - fleet.Date(9+st.every*(islandTestCount-n))
		stage := fleet.Routine
		if n == st.jobAt {
			stage = fleet.BeforeJob
		}
		last := n == islandTestCount
		st.write(t, r, v, day, stage, percent, pedal, last)
		if n == st.jobAt {
			percent, pedal = st.percent+1.5, st.pedal-20
			st.write(t, r, v, day+1, fleet.AfterJob, percent, pedal, false)
		}
		percent += st.perTest
		pedal += st.pedalBy
	}
}

func (st *testStory) write(t *table, r *rand.Rand, v *Vehicle, day fleet.Date, stage fleet.Stage, percent, pedal float64, last bool) {
	percent += .4 * r.NormFloat64()
	pedal *= 1 + .015*r.NormFloat64()
	number := func(x float64, digits float64) {
		if x == 0 {
			t.blank(1)
			return
		}
		t.number(math.Round(x/digits) * digits)
	}
	head := func() {
		t.text(v.Number).date(day).text(string(st.method)).text(string(fleet.ServiceBrake)).text(string(stage))
		number(st.kg, 10)
	}
	a := fleet.DecelerationOf(percent)
	switch st.method {
	case fleet.Decelerometer:
		head()
		t.blank(4)
		number(pedal, 1)
		t.fixed(a, 2).fixed(1.25*a, 2).blank(2)
		t.text(islandNote).end()
		return
	case fleet.MeasuredStop:
		head()
		t.blank(4)
		number(pedal, 1)
		// The brakes come on a third of a second after the pedal moves.
		t.blank(2).number(60).fixed(fleet.StopDistance(60, a)+60/3.6/3, 1)
		t.text(islandNote).end()
		return
	}
	share := []float64{.58, .42}
	if len(v.Axles) > 2 {
		share = []float64{.42, .31, .27}
	}
	for i, s := range share {
		force := s * percent / 100 * st.kg * fleet.Gravity / 2
		across := math.Abs(.04 * r.NormFloat64())
		if last && i == 0 && st.across > 0 {
			across = st.across / 100
		}
		for j, side := range []fleet.Side{fleet.Left, fleet.Right} {
			// The two sides add up to the axle's share.
			n := 2 * force / (2 - across)
			if j == 1 {
				n *= 1 - across
			}
			head()
			t.int(i + 1).text(string(side))
			number(n, 10)
			if last && st.locked && i == len(share)-1 {
				t.text("yes")
			} else {
				t.blank(1)
			}
			number(pedal, 1)
			t.blank(4).text(islandNote).end()
		}
	}
}
