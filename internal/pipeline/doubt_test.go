package pipeline_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

const readingsHead = "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"

// mustSteady takes in a bus of this number that drives 100 km a day and loses 1 mm in 30 days
// at each of the four pads of its front axle, from 19 mm on 1 March 2025 on,
// read every 60 days until 24 February 2026, with 7.0 mm left. Invented.
func mustSteady(t *testing.T, s *pipeline.Service, bus string) {
	t.Helper()
	mustImport(t, s, "vehicles.csv", "vehicle,category\n"+bus+",M3\n", 1, 0, 0)
	mustImport(t, s, "axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\n"+bus+",1,disc,19,4\n"+bus+",2,disc,19,4\n", 2, 0, 0)
	mustImport(t, s, "fitments.csv", "vehicle,date,odometer_km,axle,part,value_mm\n"+bus+",2025-03-01,100000,1,pad,19\n", 1, 0, 0)
	var b strings.Builder
	b.WriteString(readingsHead)
	for n := 1; n <= 6; n++ {
		day := fleet.NewDate(2025, 3, 1) + fleet.Date(60*n)
		for _, side := range []string{"left", "right"} {
			for _, face := range []string{"inner", "outer"} {
				fmt.Fprintf(&b, "%s,%s,%d,1,pad,%s,%s,%d.0\n", bus, day, 100_000+6000*n, side, face, 19-2*n)
			}
		}
	}
	mustImport(t, s, "readings.csv", b.String(), 24, 0, 0)
}

// TestDoubts: what is unlikely is taken, and said to be.
func TestDoubts(t *testing.T) {
	type doubt struct {
		line         int
		column, read string
		words        string // in the message
	}
	cases := []struct {
		name, file, text string
		want             []doubt
	}{
		{"as expected", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,6.9\nBus 1,2026-02-27,136300,1,pad,right,outer,6.8\n", nil},
		{"a slipped digit", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,2.0\nBus 1,2026-02-27,136300,1,pad,right,inner,6.9\n",
			[]doubt{{2, "value_mm", "2", "axle 1 left inner pad: outside what this vehicle's history makes likely ("}}},
		{"thicker", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,9.9\nBus 1,2026-02-27,136300,1,pad,right,inner,6.9\n",
			[]doubt{{2, "value_mm", "9.9", "thicker than last time (7.0 mm on 24 February 2026) and no job recorded"}}},
		{"one row, doubted twice", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,135000,1,pad,left,inner,70\n",
			[]doubt{{2, "odometer_km", "135000", "odometer below the reading of 24 February 2026"}, {2, "value_mm", "70", "thicker than new"}}},
		{"thicker than new", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,70\n",
			[]doubt{{2, "value_mm", "70", "thicker than new (19.0 mm)"}}},
		{"the thinnest of all", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,,,6.8\nBus 1,2026-02-28,136400,1,pad,,,2.0\n",
			[]doubt{{3, "value_mm", "2", "outside what"}}},
		{"a gauge's hundredths", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,1.71\n",
			[]doubt{{2, "value_mm", "1.71", "outside what"}}},
		{"two odometers on a day", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-24,155900\n",
			[]doubt{{2, "odometer_km", "155900", "155,900 km beside 136,000 km on one day, 24 February 2026: more than this vehicle can have driven"}}},
		{"twice on a day", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,1,pad,left,inner,6.9\nBus 1,2026-02-27,136300,1,pad,left,inner,6.8\n",
			[]doubt{{3, "value_mm", "6.8", "line 2 has 6.9 mm for the same position and day"}}},
		{"another value than on record", "readings.csv", readingsHead +
			"Bus 1,2026-02-24,136000,1,pad,left,inner,6.8\n",
			[]doubt{{2, "value_mm", "6.8", "7.0 mm is on record for the same position and day"}}},
		{"what is there already", "readings.csv", readingsHead +
			"Bus 1,2026-02-24,136000,1,pad,left,inner,7.0\nBus 1,2026-02-27,136300,1,pad,left,inner,6.9\n", nil},
		{"an axle it does not have", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,3,pad,left,inner,6.9\n",
			[]doubt{{2, "axle", "3", "Bus 1, axle 3: it has 2 axles on record, the last one is axle 2"}}},
		{"never read", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,136300,2,pad,left,inner,8.0\n", nil},
		{"new parts in the same file", "fitments.csv", "vehicle,date,odometer_km,axle,part,value_mm\n" +
			"Bus 1,2026-02-27,136300,1,pad,19\n", nil},
		{"worn parts fitted", "fitments.csv", "vehicle,date,odometer_km,axle,part,value_mm\n" +
			"Bus 1,2026-02-27,136300,2,pad,9\n",
			[]doubt{{2, "value_mm", "9", "fitted more than half worn (new 19.0 mm"}}},
		{"parts fitted below their limit", "fitments.csv", "vehicle,date,odometer_km,axle,part,value_mm\n" +
			"Bus 1,2026-02-27,136300,2,pad,2\n",
			[]doubt{{2, "value_mm", "2", "fitted at or past its limit (4.0 mm), and due until measured anew"}}},

		{"moved to another depot", "vehicles.csv", "vehicle,depot,category\nBus 1,Hill,M3\n",
			[]doubt{{2, "depot", "Hill", "Bus 1 stands in Depot: this moves it"}}},
		{"of another category", "vehicles.csv", "vehicle,category\nBus 1,N1\n",
			[]doubt{{2, "category", "N1", "Bus 1 is a vehicle of category M3"}}},
		{"a limit that goes down", "axles.csv", "vehicle,axle,pad_new_mm,pad_limit_mm\nBus 1,1,19,2\nBus 1,2,19,5\n",
			[]doubt{{2, "pad_limit_mm", "2", "axle 1 of Bus 1: the limit of its pad goes down from 4.0 mm"}}},
		{"another kind of brake", "axles.csv", "vehicle,axle,brake,lining_new_mm,lining_limit_mm\nBus 1,2,drum,15,5\n",
			[]doubt{{2, "brake", "drum", "axle 2 of Bus 1 has a disc brake"}}},

		{"odometer ran back", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-27,135000\n",
			[]doubt{{2, "odometer_km", "135000", "odometer below the reading of 24 February 2026 (136,000 km)"}}},
		{"odometer ran back beside a reading", "readings.csv", readingsHead +
			"Bus 1,2026-02-27,135000,1,pad,left,inner,6.9\nBus 1,2026-02-27,135000,1,pad,left,outer,6.9\n",
			[]doubt{{2, "odometer_km", "135000", "odometer below the reading of 24 February 2026"}}},
		{"odometer jumped", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-26,140200\n",
			[]doubt{{2, "odometer_km", "140200", "jump of 4,200 km in 2 days since 24 February 2026: more than this vehicle can have driven"}}},
		{"miles as km", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-27,84700\n", // 136,311 km
			[]doubt{{2, "odometer_km", "84700", "looks like miles entered as kilometres: 84,700 miles are 136,311 km"}}},
		{"km as miles", "odometer.csv", "vehicle,date,odometer (mi)\n" +
			"Bus 1,2026-02-27,136300\n",
			[]doubt{{2, "odometer_km", "219353.6", "looks like kilometres taken for miles: 136,300 km would fit"}}},
		{"above a later one", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2025-12-30,136900\n",
			[]doubt{{2, "odometer_km", "136900", "odometer above the later reading of 24 February 2026 (136,000 km)"}}},
		{"a new cluster that nobody declared", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-27,210\n",
			[]doubt{{2, "odometer_km", "210", "goes on from 210 km, after 136,000 km on 24 February 2026: if the instrument cluster was changed"}}},
		{"a new cluster that was declared", "odometer.csv", "vehicle,date,odometer_km,previous_km\n" +
			"Bus 1,2026-02-26,0,136180\nBus 1,2026-02-28,210,\n", nil},
		{"a declared cluster with a mistyped end", "odometer.csv", "vehicle,date,odometer_km,previous_km\n" +
			"Bus 1,2026-02-26,0,13618\n",
			[]doubt{{2, "previous_km", "13618", "the old cluster cannot have shown 13,618 km"}}},
		{"the same odometer again", "odometer.csv", "vehicle,date,odometer_km\n" +
			"Bus 1,2026-02-24,136000\n", nil},
	}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		for i, c := range cases {
			t.Run(c.name, func(t *testing.T) {
				bus := fmt.Sprintf("Bus %d", 100+i)
				mustSteady(t, s, bus)
				file := func() pipeline.File {
					return pipeline.File{Name: c.file, Body: strings.NewReader(strings.ReplaceAll(c.text, "Bus 1", bus))}
				}
				checked, err := s.Check(t.Context(), all, "test", file())
				if err != nil {
					t.Fatal(err)
				}
				up, err := s.Import(t.Context(), all, "test", file())
				if err != nil {
					t.Fatal(err)
				}
				kept, err := db.Upload(t.Context(), all, up.ID)
				if err != nil {
					t.Fatal(err)
				}
				for what, up := range map[string]fleet.Upload{"checked": checked.Upload, "taken in": up, "kept": kept} {
					var got []fleet.Problem
					for _, p := range up.Problems {
						if p.Doubtful {
							got = append(got, p)
						} else if p.Refused {
							t.Errorf("%s: refused %+v", what, p)
						}
					}
					rows := map[int]bool{}
					for _, w := range c.want {
						rows[w.line] = true
					}
					if len(got) != len(c.want) || up.Doubtful != len(rows) {
						t.Errorf("%s: %d rows doubtful, %+v; want %d of %d rows", what, up.Doubtful, got, len(c.want), len(rows))
						continue
					}
					for i, w := range c.want {
						words := strings.ReplaceAll(w.words, "Bus 1", bus)
						if p := got[i]; p.Line != w.line || p.Column != w.column || p.Read != w.read || !strings.Contains(p.Message, words) {
							t.Errorf("%s: got %+v, want %+v", what, p, w)
						}
					}
				}
			})
		}
	})
}

// TestDoubtOfFitmentByTheLimitInForce: a workshop's own limit, which forecasts go by, and
// not the maker's. Invented.
func TestDoubtOfFitmentByTheLimitInForce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustSteady(t, s, "Bus 1")
		index, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		l := fleet.AxleLimit{VehicleID: index["Bus 1"][0].ID, Axle: 2, Part: fleet.Pad, MM: 5, Reason: fleet.Reason{By: "N. N."}}
		if err := s.SetAxleLimit(t.Context(), all, l, s.Today()); err != nil {
			t.Fatal(err)
		}
		c, err := s.Check(t.Context(), all, "test", pipeline.File{Name: "fitments.csv", Body: strings.NewReader(
			"vehicle,date,odometer_km,axle,part,value_mm\nBus 1,2026-02-27,136300,2,pad,4.5\n")})
		if err != nil {
			t.Fatal(err)
		}
		want := "fitted at or past its limit (5.0 mm), and due until measured anew"
		if ps := c.Upload.Problems; len(ps) != 1 || !strings.Contains(ps[0].Message, want) {
			t.Errorf("got %+v, want %q", ps, want)
		}
	})
}

// TestDoubtsOfALargeFile: where there are too many visits to hold each against
// the model, those odd at first sight are, and first sight judges what is left.
// Invented pads that lose 0.01 mm a day.
func TestDoubtsOfALargeFile(t *testing.T) {
	const vehicles, visits, every = 12, 100, 10
	first := fleet.NewDate(2026, 2, 20) - visits*every
	file := func(value func(vehicle, visit int, mm float64) float64) string {
		var b strings.Builder
		b.WriteString(readingsHead)
		for v := range vehicles {
			for n := range visits {
				mm := value(v, n, 19-0.01*every*float64(n))
				fmt.Fprintf(&b, "Cart %d,%s,%d,1,pad,left,inner,%.1f\n", v, first+fleet.Date(every*n), 100_000+1000*n, mm)
			}
		}
		return b.String()
	}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		vs, as := "vehicle,category\n", "vehicle,axle,pad_new_mm,pad_limit_mm\n"
		for v := range vehicles {
			vs += fmt.Sprintf("Cart %d,N1\n", v)
			as += fmt.Sprintf("Cart %d,1,19,4\n", v)
		}
		mustImport(t, s, "vehicles.csv", vs, vehicles, 0, 0)
		mustImport(t, s, "axles.csv", as, vehicles, 0, 0)
		check := func(text string) fleet.Upload {
			t.Helper()
			c, err := s.Check(t.Context(), all, "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader(text)})
			if err != nil {
				t.Fatal(err)
			}
			return c.Upload
		}
		up := check(file(func(v, n int, mm float64) float64 {
			switch {
			case v == 3 && n == 50:
				return mm + 4 // 18.0
			case v == 5 && n == 70:
				return mm / 10 // 1.2
			}
			return mm
		}))
		var got []string
		for _, p := range up.Problems {
			got = append(got, fmt.Sprintf("%d %.61s", p.Line, p.Message))
		}
		want := []string{
			"352 Cart 3, axle 1 left inner pad: thicker than last time (14.1 m",
			"572 Cart 5, axle 1 left inner pad: outside what this vehicle's hi",
		}
		if fmt.Sprint(got) != fmt.Sprint(want) || up.Doubtful != 2 {
			t.Errorf("got %q\nwant %q", got, want)
		}
		// Every other visit is 6 mm off: more than are held against the model.
		sixOff := file(func(v, n int, mm float64) float64 {
			if n%2 == 1 {
				return max(0, mm-6)
			}
			return mm
		})
		up = check(sixOff)
		if up.Accepted != vehicles*visits || up.Doubtful < vehicles*visits/3 {
			t.Errorf("%d of %d rows doubtful, want at least a third", up.Doubtful, up.Accepted)
		}
		last := up.Problems[len(up.Problems)-1]
		if !strings.HasPrefix(last.Message, "Cart 11") || !last.Doubtful {
			t.Errorf("the last doubt is %+v, want one of the last vehicle", last)
		}
		// Taken in, its doubts are looked for while it is stored, several vehicles at
		// a time; a trial does one after the other.
		taken, err := s.Import(t.Context(), all, "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader(sixOff)})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(up.Problems, taken.Problems); diff != "" || taken.Doubtful != up.Doubtful {
			t.Errorf("taken in, %d rows are doubtful, %d when tried: (-tried +taken)\n%s", taken.Doubtful, up.Doubtful, diff)
		}
	})
}

// TestCheckAll wants each file looked at as if those before it were in, and
// none of them in.
func TestCheckAll(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		file := func(name, text string) pipeline.File { return pipeline.File{Name: name, Body: strings.NewReader(text)} }
		cs, err := s.CheckAll(t.Context(), all, "test", []pipeline.File{
			file("vehicles.csv", vehiclesCSV),
			file("menu.csv", "soup,price\nleek,4\n"),
			file("axles.csv", axlesCSV),
			file("readings.csv", readingsCSV),
			file("more readings.csv", readingsHead+"Bus 1,2026-02-20,156900,1,pad,left,inner,11.0\nBus 1,2026-02-01,155000,2,pad,,,11.0\nBus 9,2026-02-20,156900,1,pad,left,inner,11.0\n"),
		})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, c := range cs {
			u := c.Upload
			got = append(got, fmt.Sprint(u.Name, " ", u.Accepted, u.Refused, u.Repeated, u.Doubtful, " ", c.Err != nil))
		}
		want := []string{"vehicles.csv 2 0 0 0 false", "menu.csv 0 0 0 0 true", "axles.csv 3 0 0 0 false", "readings.csv 5 0 0 0 false", "more readings.csv 1 1 1 1 false"}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("got %q\nwant %q", got, want)
		}
		v, a, r, err := db.Counts(t.Context(), all)
		if err != nil || v+a+r != 0 {
			t.Errorf("%d vehicles, %d axles, %d readings after a check; %v", v, a, r, err)
		}
		fs, err := db.Fleets(t.Context(), all)
		if err != nil || len(fs) != 0 {
			t.Errorf("%v after a check; %v", fs, err)
		}
	})
}

// TestCheckForetells wants a check to say of any file what taking it in then
// does, and to store nothing.
func TestCheckForetells(t *testing.T) {
	files, err := filepath.Glob("../../testdata/uploads/*.*")
	if err != nil || len(files) < 8 {
		t.Fatal(files, err)
	}
	order := []string{"vehicles.csv", "axles.csv", "odometer.csv", "fitments.csv", "readings.csv"}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		counts := func() string {
			v, a, r, err := db.Counts(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			ups, err := db.Uploads(t.Context(), all, 100, 0)
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprint(v, a, r, len(ups))
		}
		try := func(name string) {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			f := func() pipeline.File {
				return pipeline.File{Name: filepath.Base(name), Body: strings.NewReader(string(text))}
			}
			before := counts()
			c, cerr := s.Check(t.Context(), all, "test", f())
			if after := counts(); after != before {
				t.Errorf("%s: the check changed %s to %s", name, before, after)
			}
			up, err := s.Import(t.Context(), all, "test", f())
			if fmt.Sprint(err) != fmt.Sprint(cerr) {
				t.Errorf("%s: checked %v, taken in %v", name, cerr, err)
			}
			got, want := c.Upload, up
			want.ID, want.At = 0, got.At
			if g, w := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want); g != w {
				t.Errorf("%s:\nchecked  %s\ntaken in %s", name, g, w)
			}
			if again, err := s.Check(t.Context(), all, "test", f()); err == nil && up.Refused == 0 && (again.Before == nil || again.Before.ID != up.ID || again.Upload.Accepted != 0) {
				t.Errorf("%s: checked again: got %+v, want it known as upload %d", name, again, up.ID)
			}
		}
		for _, name := range order {
			try(filepath.Join("../../testdata/uploads", name))
		}
		for _, name := range files {
			if filepath.Ext(name) != ".md" {
				try(name)
			}
		}
	})
}
