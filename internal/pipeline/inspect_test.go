package pipeline_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// inspected returns a service over the sample files, its vehicles by number,
// and an inspection of Bus 1 on 1 March 2026 that nothing speaks against.
func inspected(t *testing.T, db *store.DB) (*pipeline.Service, map[string][]store.VehicleKey, pipeline.Inspection) {
	t.Helper()
	s := newService(db)
	mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
	mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
	mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
	vs, err := db.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	km := 159_000.
	return s, vs, pipeline.Inspection{
		VehicleID:  vs["Bus 1"][0].ID,
		Date:       fleet.NewDate(2026, time.March, 1),
		Technician: "N. N.",
		OdometerKm: &km,
		Readings:   []fleet.Reading{{Position: frontInner, MM: 4.3, Given: "4,3", Unit: "mm"}},
		Conditions: []fleet.Condition{
			{Axle: 1, Side: fleet.Left, Kind: fleet.Cracked},
			{Kind: fleet.Noted, Note: "pin is stiff"},
		},
	}
}

var frontInner = fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}

func TestInspect(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, _, in := inspected(t, db)
		in.Key = "form 1"
		up, err := s.Inspect(t.Context(), all, "test", in)
		if err != nil {
			t.Fatal(err)
		}
		// A reading, an odometer and two conditions.
		if up.Kind != pipeline.FormKind || up.Accepted != 4 || up.Repeated != 0 || up.Name != "Bus 1, 2026-03-01" {
			t.Errorf("got upload %+v", up)
		}
		h, err := db.History(t.Context(), all, in.VehicleID)
		if err != nil {
			t.Fatal(err)
		}
		r := h.Readings[len(h.Readings)-1]
		if r.MM != 4.3 || r.Given != "4,3" || r.Technician != "N. N." || r.OdometerKm == nil || *r.OdometerKm != 159_000 || r.Note != "" {
			t.Errorf("got reading %+v", r)
		}
		if n := len(h.Odometers); n != 1 || h.Odometers[0].Km != 159_000 {
			t.Errorf("got odometers %+v", h.Odometers)
		}
		if cs := h.Conditions; len(cs) != 2 || cs[1].Words() != "left: cracked" || cs[0].Words() != "pin is stiff" {
			t.Errorf("got conditions %+v", cs)
		}
		fs, err := db.Forecasts(t.Context(), all, in.VehicleID)
		if err != nil || len(fs) == 0 || fs[0].Readings != 4 {
			t.Errorf("the forecast does not follow: %+v, %v", fs, err)
		}

		for _, c := range []struct {
			name string
			key  string
			edit func(in *pipeline.Inspection)
			want error
		}{
			{"again with its key", "form 1", nil, nil},
			{"again without a key", "", nil, nil},
			{"again with another key", "form 2", nil, nil},
			{"the key for another content", "form 1", func(in *pipeline.Inspection) { in.Technician = "M. M." }, fleet.ErrConflict},
		} {
			in := in
			in.Key = c.key
			if c.edit != nil {
				c.edit(&in)
			}
			again, err := s.Inspect(t.Context(), all, "test", in)
			if !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			} else if c.want == nil && (again.ID != up.ID || again.Accepted != 0 || again.Repeated != 4) {
				t.Errorf("%s: got %+v", c.name, again)
			}
		}
		if ups, err := db.Uploads(t.Context(), all, 0, 0); err != nil || len(ups) != 4 {
			t.Errorf("got %d uploads, %v; want the form's and three files'", len(ups), err)
		}
		// Another person's form with the same values finds them there.
		in.Key, in.Technician = "form 3", "M. M."
		third, err := s.Inspect(t.Context(), all, "test", in)
		if err != nil || third.Accepted != 0 || third.Repeated != 4 {
			t.Errorf("got %+v, %v", third, err)
		}
		_, err = s.Inspect(t.Context(), auth.ScopeOf([]int64{99}, nil), "test", in)
		if !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope: got %v, want ErrNotFound", err)
		}
	})
}

func TestInspectDoubts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, _, in := inspected(t, db)
		km := 15_900.
		in.OdometerKm = &km
		in.Readings[0].MM = 9.9
		_, err := s.Inspect(t.Context(), all, "test", in)
		d, ok := errors.AsType[*pipeline.DoubtError](err)
		if !ok || !errors.Is(err, fleet.ErrInvalid) {
			t.Fatalf("got %v, want a DoubtError", err)
		}
		if len(d.Remarks) != 2 || d.Remarks[0].Code != "km-below" || d.Remarks[1].Code != "gain" {
			t.Errorf("got %+v", d.Remarks)
		}
		in.Confirmed = map[string]bool{"odometer": true}
		if _, err := s.Inspect(t.Context(), all, "test", in); !errors.As(err, &d) {
			t.Errorf("half confirmed: got %v, want a DoubtError", err)
		}
		h, err := db.History(t.Context(), all, in.VehicleID)
		if err != nil || len(h.Readings) != 4 {
			t.Errorf("something was stored: %d readings, %v", len(h.Readings), err)
		}
		in.Confirmed[pipeline.FieldOf(frontInner)] = true
		in.Readings[0].Note = "new pads?"
		up, err := s.Inspect(t.Context(), all, "test", in)
		if err != nil || up.Accepted != 4 {
			t.Fatalf("confirmed: got %+v, %v", up, err)
		}
		h, err = db.History(t.Context(), all, in.VehicleID)
		if err != nil {
			t.Fatal(err)
		}
		if got := h.Readings[4].Note; got != "new pads?; measured twice" {
			t.Errorf("note: got %q", got)
		}
	})
}

func TestInspectSensor(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, _, in := inspected(t, db)
		tripped := func(axle int, side fleet.Side) []fleet.Condition {
			return []fleet.Condition{{Axle: axle, Side: side, Kind: fleet.SensorTripped}}
		}
		in.Conditions = tripped(1, fleet.Right)
		up, err := s.Inspect(t.Context(), all, "test", in)
		if err != nil || up.Accepted != 3 || len(up.Problems) != 1 || !strings.Contains(up.Problems[0].Message, "not known at which thickness") {
			t.Errorf("no trip known: got %+v, %v", up, err)
		}
		// A first trip on record tells at which thickness they do.
		mustImport(t, s, "trip.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm,gauge\nBus 1,2025-08-30,129900,2,pad,left,inner,<3.5,wear sensor\n", 1, 0, 0)
		in.Conditions, in.Readings = tripped(2, fleet.Right), nil
		up, err = s.Inspect(t.Context(), all, "test", in)
		if err != nil || up.Accepted != 2 || up.Repeated != 1 || len(up.Problems) != 0 {
			t.Fatalf("got %+v, %v", up, err)
		}
		h, err := db.History(t.Context(), all, in.VehicleID)
		if err != nil {
			t.Fatal(err)
		}
		got := h.Readings[len(h.Readings)-1]
		want := fleet.Position{Axle: 2, Part: fleet.Pad, Side: fleet.Right, Face: fleet.Inner}
		if !got.Tripped || got.MM != 3.5 || got.Position != want || got.Date != in.Date {
			t.Errorf("got %+v, want a trip at 3.5 mm of %s", got, want)
		}
	})
}

func TestInspectRefused(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, vs, good := inspected(t, db)
		for _, c := range []struct {
			name string
			edit func(in *pipeline.Inspection)
			want error
			say  string
		}{
			{"nothing", func(in *pipeline.Inspection) { in.OdometerKm, in.Readings, in.Conditions = nil, nil, nil }, fleet.ErrInvalid, "nothing is filled in"},
			{"tomorrow", func(in *pipeline.Inspection) { in.Date++ }, fleet.ErrInvalid, "after today"},
			{"no such vehicle", func(in *pipeline.Inspection) { in.VehicleID = 999 }, fleet.ErrNotFound, ""},
			{"a part the brake has not", func(in *pipeline.Inspection) {
				in.Readings = []fleet.Reading{{Position: fleet.Position{Axle: 1, Part: fleet.Lining, Side: fleet.Left}, MM: 5}}
			}, fleet.ErrInvalid, "disc brake"},
			{"a place twice", func(in *pipeline.Inspection) { in.Readings = append(in.Readings, in.Readings[0]) }, fleet.ErrInvalid, "two values"},
			{"no value", func(in *pipeline.Inspection) { in.Readings = []fleet.Reading{{Position: frontInner, MM: -1}} }, fleet.ErrInvalid, "want 0 to 1000"},
			{"no condition", func(in *pipeline.Inspection) { in.Conditions = []fleet.Condition{{Kind: "rusty"}} }, fleet.ErrInvalid, "rusty"},
			{"no odometer", func(in *pipeline.Inspection) { x := -1.; in.OdometerKm = &x }, fleet.ErrInvalid, "odometer"},
		} {
			in := good
			c.edit(&in)
			_, err := s.Inspect(t.Context(), all, "test", in)
			if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.say) {
				t.Errorf("%s: got %v, want %v with %q", c.name, err, c.want, c.say)
			}
		}
		if h, err := db.History(t.Context(), all, vs["Bus 1"][0].ID); err != nil || len(h.Readings) != 4 {
			t.Errorf("something was stored: %d readings, %v", len(h.Readings), err)
		}
	})
}

// TestSheet walks round Bus 1: its front pads are read apart, its rear ones as
// the thinnest of all.
func TestSheet(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, _, in := inspected(t, db)
		sh, err := s.Sheet(t.Context(), all, in.VehicleID, s.Today(), nil)
		if err != nil {
			t.Fatal(err)
		}
		var fields []string
		for _, w := range sh.Wheels {
			for _, p := range w.Places {
				f := pipeline.FieldOf(p.Position)
				if p.Seldom {
					f = "(" + f + ")"
				}
				fields = append(fields, f)
			}
		}
		want := "1-left-outer-pad 1-left-inner-pad (1-left-rotor) " +
			"2-left-pad (2-left-outer-pad) (2-left-inner-pad) (2-left-rotor) " +
			"2-right-pad (2-right-outer-pad) (2-right-inner-pad) (2-right-rotor) " +
			"1-right-outer-pad 1-right-inner-pad (1-right-rotor)"
		if got := strings.Join(fields, " "); got != want {
			t.Errorf("got %s\nwant %s", got, want)
		}
		p := sh.Place(frontInner)
		if p.Last == nil || p.Last.MM != 5.1 || p.Likely == nil || p.Likely.Median < 3.5 || p.Likely.Median > 5.1 || p.Thinnest || p.Spec.Limit != 3 {
			t.Errorf("front inner: got %+v, %+v, %+v", p, p.Last, p.Likely)
		}
		rear := sh.Place(fleet.Position{Axle: 2, Part: fleet.Pad, Side: fleet.Right})
		if rear.Last == nil || rear.Last.MM != 11 || !rear.Thinnest {
			t.Errorf("rear: got %+v", rear)
		}
		o := sh.Odometer
		if o == nil || o.Km != 155_000 || o.Date != fleet.NewDate(2026, time.February, 1) || o.Next != nil || !(o.Reach(s.Today()) > 159_000) {
			t.Errorf("odometer: got %+v", o)
		}
		// As it was in the summer, with what came later.
		sh, err = s.Sheet(t.Context(), all, in.VehicleID, fleet.NewDate(2025, time.July, 1), nil)
		if err != nil {
			t.Fatal(err)
		}
		if o := sh.Odometer; o.Km != 100_000 || o.Next == nil || o.Next.Km != 130_000 {
			t.Errorf("odometer in July: got %+v", o)
		}
		// Axles that are not on record are laid out as told.
		mustImport(t, s, "more.csv", "vehicle,fleet,depot,category\nTruck 3,Ferry Lines,Hill,N3\n", 1, 0, 0)
		vs, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		truck := vs["Truck 3"][0].ID
		if sh, err = s.Sheet(t.Context(), all, truck, s.Today(), nil); err != nil || len(sh.Wheels) != 0 {
			t.Errorf("got %d wheels, %v; want none", len(sh.Wheels), err)
		}
		brakes := []fleet.Brake{fleet.DiscBrake, fleet.DrumBrake}
		sh, err = s.Sheet(t.Context(), all, truck, s.Today(), brakes)
		if err != nil || len(sh.Wheels) != 4 || !sh.Assumed || sh.Wheels[1].Places[0].Part != fleet.Lining {
			t.Errorf("got %+v, %v", sh, err)
		}
		up, err := s.Inspect(t.Context(), all, "test", pipeline.Inspection{
			VehicleID: truck, Date: s.Today(), Brakes: brakes,
			Readings: []fleet.Reading{{Position: fleet.Position{Axle: 2, Part: fleet.Lining, Side: fleet.Left}, MM: 12}},
		})
		if err != nil || up.Accepted != 1 || len(up.Problems) != 2 {
			t.Errorf("got %+v, %v; want notes on the odometer and the limit", up, err)
		}
	})
}
