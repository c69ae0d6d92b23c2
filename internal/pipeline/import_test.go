package pipeline_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The vehicles, places and readings of these tests are invented.

var all = auth.AllFleets()

// newService returns a service whose clock stands still on 1 March 2026.
func newService(db *store.DB) *pipeline.Service {
	return &pipeline.Service{
		DB:  db,
		Now: func() time.Time { return time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC) },
	}
}

// mustImport takes a file in and wants so many rows accepted, refused and
// already there.
func mustImport(t *testing.T, s *pipeline.Service, name, text string, accepted, refused, repeated int) fleet.Upload {
	t.Helper()
	up, err := s.Import(t.Context(), all, "test", pipeline.File{Name: name, Body: strings.NewReader(text)})
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	got := [3]int{up.Accepted, up.Refused, up.Repeated}
	if want := [3]int{accepted, refused, repeated}; got != want {
		t.Fatalf("%s: got %v accepted, refused, repeated; want %v; problems %+v", name, got, want, up.Problems)
	}
	return up
}

const (
	vehiclesCSV = `vehicle,fleet,depot,plate,category,make,model,year,duty
Bus 1,Ferry Lines,Harbour,KEA 1,M3,,,2019,city
Van 2,Ferry Lines,Hill,KEA 2,N1,,,2021,parcels
`
	axlesCSV = `vehicle,axle,brake,pad_new_mm,pad_limit_mm
Bus 1,1,disc,20,3
Bus 1,2,disc,20,3
Van 2,1,disc,12,2
`
	readingsCSV = `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 1,2025-03-01,100000,1,pad,left,inner,15.5
Bus 1,2025-09-01,130000,1,pad,left,inner,9.9
Bus 1,2026-02-01,155000,1,pad,left,inner,5.1
Bus 1,2026-02-01,155000,2,pad,,,11.0
Van 2,2026-02-01,40000,1,pad,right,outer,8.2
`
)

func TestImport(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)

		t.Run("the same bytes again", func(t *testing.T) {
			mustImport(t, s, "copy of readings.csv", readingsCSV, 0, 0, 5)
		})
		t.Run("the same rows in another file", func(t *testing.T) {
			mustImport(t, s, "readings.csv", readingsCSV+"Van 2,2026-02-01,40000,1,pad,right,inner,8.0\n", 1, 0, 5)
		})
		t.Run("a vehicle nobody knows", func(t *testing.T) {
			up := mustImport(t, s, "readings.csv", `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 9,2026-02-01,40000,1,pad,right,inner,8.0
Bus 1,2026-02-02,155100,1,pad,right,inner,5.6
`, 1, 1, 0)
			if p := up.Problems[0]; p.Line != 2 || p.Column != "vehicle" || p.Read != "Bus 9" || !p.Refused {
				t.Errorf("got problem %+v", p)
			}
		})
		t.Run("a vehicle in other words, in a line of several values", func(t *testing.T) {
			up := mustImport(t, s, "readings.csv", `vehicle,date,axle,left inner pad mm,left outer pad mm
bus-1,2026-02-05,1,5,5.1
KEA2,2026-02-05,1,8,8.1
Tram 9,2026-02-05,1,8,8.1
`, 0, 6, 0)
			var got []string
			for _, p := range up.Problems {
				got = append(got, fmt.Sprintf("%d %s: %s", p.Line, p.Read, p.Message))
			}
			const or = ", or take in a vehicles file that has it first"
			want := []string{
				"2 bus-1: no vehicle has this number: write Bus 1, if that is meant" + or,
				"3 KEA2: no vehicle has this number: write Van 2, which has this plate, if that is meant" + or,
				"4 Tram 9: no vehicle has this number: correct it" + or,
			}
			if !slices.Equal(got, want) {
				t.Errorf("got %q, want %q", got, want)
			}
		})
		t.Run("a part the brake does not have", func(t *testing.T) {
			up := mustImport(t, s, "readings.csv", `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 1,2026-02-03,155200,1,lining,right,,8.0
`, 0, 1, 0)
			if p := up.Problems[0]; p.Column != "part" || !strings.Contains(p.Message, "disc brake") {
				t.Errorf("got problem %+v", p)
			}
		})
		t.Run("an axle without a specification", func(t *testing.T) {
			up := mustImport(t, s, "readings.csv", `vehicle,date,odometer_km,axle,part,side,face,value_mm
Van 2,2026-02-03,40100,2,pad,right,outer,7.0
Van 2,2026-02-03,40100,2,pad,left,outer,7.1
`, 2, 0, 0)
			// 1.5 mm: MOT inspection manual, cars, 1.1.13(a)(ii), UK-01.
			if p := up.Problems[0]; p.Refused || !strings.Contains(p.Message, "limit 1.5 mm stand in (UK-01") {
				t.Errorf("got problem %+v", p)
			}
		})
		t.Run("no odometer", func(t *testing.T) {
			up := mustImport(t, s, "readings.csv", `vehicle,date,axle,part,side,face,value_mm
Van 2,2026-02-04,1,pad,right,outer,8.1
Van 2,2026-02-04,1,pad,left,outer,8.0
`, 2, 0, 0)
			if p := up.Problems[0]; p.Refused || !strings.Contains(p.Message, "and 1 more line") {
				t.Errorf("got problem %+v", p)
			}
		})
		t.Run("not a file of ours", func(t *testing.T) {
			_, err := s.Import(t.Context(), all, "test", pipeline.File{Name: "menu.csv", Body: strings.NewReader("soup,price\nleek,4\n")})
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("got %v, want ErrInvalid", err)
			}
		})
	})
}

func TestImportTwoFleetsOneNumber(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", `vehicle,fleet,depot
7,Ferry Lines,Harbour
7,Hill Farms,Barn
`, 2, 0, 0)
		up := mustImport(t, s, "axles.csv", `vehicle,axle,brake,pad_new_mm,pad_limit_mm
7,1,disc,12,2
`, 0, 1, 0)
		if p := up.Problems[0]; !strings.Contains(p.Message, "column fleet") {
			t.Errorf("got problem %+v", p)
		}
		mustImport(t, s, "axles.csv", `vehicle,fleet,axle,brake,pad_new_mm,pad_limit_mm
7,hill farms,1,disc,12,2
`, 1, 0, 0)
	})
}

// TestImportVehiclesAgain wants a vehicles file without fleets and depots to
// move nobody.
func TestImportVehiclesAgain(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		homes := func() string {
			t.Helper()
			page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{})
			if err != nil {
				t.Fatal(err)
			}
			var b strings.Builder
			for _, v := range page.Rows {
				fmt.Fprintf(&b, "%s: %s, %s, %s; ", v.Number, v.Fleet, v.Depot, v.Duty)
			}
			return b.String()
		}
		steps := []struct {
			name, text                  string
			accepted, refused, repeated int
			want                        string
		}{
			{"no fleet and no depot", "vehicle,duty\nBus 1,city\nVan 2,post\n", 1, 0, 1,
				"Bus 1: Ferry Lines, Harbour, city; Van 2: Ferry Lines, Hill, post; "},
			{"blank cells", "vehicle,fleet,depot,duty\nBus 1,,,tours\nVan 2,ferry lines,,post\n", 1, 0, 1,
				"Bus 1: Ferry Lines, Harbour, tours; Van 2: Ferry Lines, Hill, post; "},
			{"a new one joins the only fleet, once", "vehicle,duty\nVan 3,post\nVan 3,parcels\n", 2, 0, 0,
				"Bus 1: Ferry Lines, Harbour, tours; Van 2: Ferry Lines, Hill, post; Van 3: Ferry Lines, Depot, parcels; "},
			{"one of another fleet has its number", "vehicle,fleet,depot\nBus 1,Hill Farms,Barn\n", 1, 0, 0,
				"Bus 1: Ferry Lines, Harbour, tours; Bus 1: Hill Farms, Barn, ; Van 2: Ferry Lines, Hill, post; Van 3: Ferry Lines, Depot, parcels; "},
			{"two fleets", "vehicle,duty\nBus 1,city\nVan 4,post\nVan 2,parcels\n", 1, 2, 0,
				"Bus 1: Ferry Lines, Harbour, tours; Bus 1: Hill Farms, Barn, ; Van 2: Ferry Lines, Hill, parcels; Van 3: Ferry Lines, Depot, parcels; "},
			{"the only depot of a fleet", "vehicle,fleet\nCart 5,Hill Farms\n", 1, 0, 0,
				"Bus 1: Ferry Lines, Harbour, tours; Bus 1: Hill Farms, Barn, ; Cart 5: Hill Farms, Barn, ; Van 2: Ferry Lines, Hill, parcels; Van 3: Ferry Lines, Depot, parcels; "},
		}
		for _, c := range steps {
			up := mustImport(t, s, "vehicles.csv", c.text, c.accepted, c.refused, c.repeated)
			if got := homes(); got != c.want {
				t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
			}
			if c.refused == 2 {
				if p := up.Problems[0]; p.Line != 2 || !strings.Contains(p.Message, "(Ferry Lines, Hill Farms): add a column fleet") {
					t.Errorf("got problem %+v", p)
				}
				if p := up.Problems[1]; p.Line != 3 || p.Column != "fleet" || !strings.Contains(p.Message, "there are 2 fleets") {
					t.Errorf("got problem %+v", p)
				}
			}
		}
		t.Run("another scope", func(t *testing.T) {
			vs, err := db.VehicleIndex(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			before := homes()
			// Who sees one fleet changes nothing of the other, and one bad row
			// costs no good one.
			cart := auth.ScopeOf([]int64{vs["Cart 5"][0].FleetID}, nil)
			up, err := s.Import(t.Context(), cart, "test", pipeline.File{Name: "vehicles.csv", Body: strings.NewReader(
				"vehicle,fleet,depot,duty\nVan 2,Ferry Lines,Harbour,stolen\nBus 1,,,tours\nCart 6,,Barn,\n")})
			if err != nil {
				t.Fatal(err)
			}
			if up.Accepted != 2 || up.Refused != 1 || up.Problems[0].Read != "Ferry Lines" {
				t.Errorf("got %+v, want the first of three rows refused", up)
			}
			want := strings.Replace(before, "Hill Farms, Barn, ; Cart 5: Hill Farms, Barn, ;", "Hill Farms, Barn, tours; Cart 5: Hill Farms, Barn, ; Cart 6: Hill Farms, Barn, ;", 1)
			if got := homes(); got != want {
				t.Errorf("got %s\nwant %s", got, want)
			}
		})
	})
}

func TestRefit(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
		day := fleet.NewDate(2026, time.March, 1)

		var before string
		for _, workers := range []int{1, 4} {
			s.Workers = workers
			rep, err := s.Refit(t.Context(), all, nil, day)
			if err != nil {
				t.Fatal(err)
			}
			if rep.Vehicles != 2 || rep.Axles != 3 || !rep.Trained {
				t.Errorf("got %+v, want 3 axles of 2 vehicles, learned anew", rep)
			}
			due, err := db.DueSoon(t.Context(), all, store.DueQuery{Limit: 10})
			if err != nil {
				t.Fatal(err)
			}
			if len(due.Rows) != 3 || due.Rows[0].Vehicle != "Bus 1" || due.Rows[0].Axle != 1 {
				t.Fatalf("got %+v, want the bus's front axle first of three", due.Rows)
			}
			after := fmt.Sprintf("%+v", due.Rows)
			if before != "" && due.Rows[0].ThicknessMM == 0 {
				t.Errorf("no thickness in %+v", due.Rows[0])
			}
			before = after
		}

		t.Run("of one vehicle, from what was learned", func(t *testing.T) {
			vs, err := db.VehicleIndex(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			rep, err := s.Refit(t.Context(), all, []int64{vs["Van 2"][0].ID}, day)
			if err != nil {
				t.Fatal(err)
			}
			if rep.Vehicles != 1 || rep.Trained {
				t.Errorf("got %+v, want one vehicle and nothing learned anew", rep)
			}
		})
		t.Run("live, with paths", func(t *testing.T) {
			vs, err := db.VehicleIndex(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			_, fs, _, err := s.VehicleForecast(t.Context(), all, vs["Bus 1"][0].ID, day)
			if err != nil {
				t.Fatal(err)
			}
			if len(fs) != 2 || len(fs[0].Positions) == 0 || len(fs[0].Positions[0].Path) == 0 {
				t.Errorf("got %+v, want two axles with paths", fs)
			}
		})
		t.Run("another model", func(t *testing.T) {
			s := newService(db)
			s.Model = "line"
			if rep, err := s.Refit(t.Context(), all, nil, day); err != nil || rep.Model != "line" {
				t.Errorf("got %+v, %v", rep, err)
			}
			s.Model = "guess"
			if _, err := s.Refit(t.Context(), all, nil, day); !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("got %v, want ErrInvalid", err)
			}
		})
	})
}

// TestTakeIn wants the forecasts to follow a file: those of the vehicles it
// was about, and nobody else's.
func TestTakeIn(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		today := fleet.NewDate(2026, 3, 1)
		takeIn := func(name, text string) pipeline.RefitReport {
			t.Helper()
			_, rep, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: name, Body: strings.NewReader(text)}, today)
			if err != nil {
				t.Fatal(err)
			}
			return rep
		}
		if got := takeIn("vehicles.csv", vehiclesCSV+"Bus 3,Ferry Lines,Harbour,KEA 3,M3,,,2019,city\n"); got.Vehicles != 0 {
			t.Errorf("vehicles alone: got %d forecast, want none", got.Vehicles)
		}
		takeIn("axles.csv", axlesCSV)
		if got := takeIn("readings.csv", readingsCSV); got.Vehicles != 3 || !got.Trained {
			t.Errorf("two of three vehicles: got %+v, want all three forecast by a model that learned", got)
		}
		more := "vehicle,date,axle,part,side,face,value_mm\nVan 2,2026-02-20,1,pad,right,outer,7.9\n"
		if got := takeIn("more readings.csv", more); got.Vehicles != 1 || got.Trained {
			t.Errorf("one of three vehicles: got %+v, want it alone forecast", got)
		}
		if got := takeIn("again.csv", more); got.Vehicles != 0 {
			t.Errorf("the same bytes again: got %d forecast, want none", got.Vehicles)
		}
	})
}
