package main

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"brakewear/api"
	"brakewear/dashboard"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// rowsWorld is a database with n rows of everything, behind the pages and the
// API. All of it is invented.
type rowsWorld struct {
	t       *testing.T
	ctx     context.Context
	n       int
	url     string
	svc     *pipeline.Service
	handler http.Handler
	marks   map[string]string // what stands in addresses
}

// rowsNow is when the clock stands still there: a Monday.
var rowsNow = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

const rowsBy = "rows"

func newRowsWorld(t *testing.T, dialect string, n int) *rowsWorld {
	t.Helper()
	w := &rowsWorld{t: t, ctx: t.Context(), n: n, url: storetest.URL(t, dialect), marks: map[string]string{}}
	db := storetest.MustOpen(t, w.url)
	db.Now = func() time.Time { return rowsNow }
	w.svc = &pipeline.Service{DB: db, Now: db.Now, Model: "pooled"}
	pages, err := dashboard.New(w.svc)
	w.must(err)
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	r.Use(web.Guard(db))
	pages.Register(r)
	api.New(w.svc).Register(r)
	session, err := storetest.SignIn(w.ctx, db, rowsBy, auth.Grant{Role: auth.Admin})
	w.must(err)
	w.each(func(i int) error {
		_, err := storetest.SignIn(w.ctx, db, fmt.Sprintf("row-%d", i), auth.Grant{Role: auth.Technician})
		return err
	})
	w.marks["link"] = auth.NewSecret()
	w.must(db.AddLink(w.ctx, auth.AllFleets(), rowsBy, 1, w.marks["link"]))
	w.handler = withSession(web.Protect(r), session)
	w.takeFilesIn()
	w.measure()
	w.setUp()
	w.must(fit(w.svc.Refit(w.ctx, auth.AllFleets(), nil, w.svc.Today())))
	w.plan()
	w.work()
	return w
}

func fit(_ pipeline.RefitReport, err error) error { return err }

func (w *rowsWorld) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

// each calls f for 1 to n.
func (w *rowsWorld) each(f func(i int) error) {
	w.t.Helper()
	for i := range w.n {
		w.must(f(i + 1))
	}
}

func (w *rowsWorld) file(kind ingest.Kind, text string) {
	w.t.Helper()
	up, err := w.svc.Import(w.ctx, auth.AllFleets(), rowsBy, pipeline.File{Name: string(kind) + ".csv", Kind: kind, Body: strings.NewReader(text)})
	w.must(err)
	for _, p := range up.Problems {
		if p.Refused {
			w.t.Fatalf("%s: %s", kind, problemLine(p))
		}
	}
}

// takeFilesIn enters n vehicles of one depot and n more of fleets and depots of
// their own, and an upload for each.
func (w *rowsWorld) takeFilesIn() {
	var vehicles, axles, readings, odometer, fitments strings.Builder
	vehicles.WriteString("vehicle,fleet,depot,category,make,model,year,duty\n")
	axles.WriteString("vehicle,axle,brake,pad_new_mm,pad_limit_mm\n")
	readings.WriteString("vehicle,date,odometer_km,axle,part,side,face,value_mm\n")
	odometer.WriteString("vehicle,date,odometer_km\n")
	fitments.WriteString("vehicle,date,odometer_km,axle,part,value_mm\n")
	for i := range 2 * w.n {
		where := "Ferry Lines,Quay"
		if i >= w.n {
			where = fmt.Sprintf("Line %d,Yard %d", i, i)
		}
		fmt.Fprintf(&vehicles, "Bus %d,%s,M3,Velquary,Strand 12,2019,city\n", i+1, where)
		for axle := 1; axle <= 2; axle++ {
			fmt.Fprintf(&axles, "Bus %d,%d,disc,20,3\n", i+1, axle)
			fmt.Fprintf(&fitments, "Bus %d,2025-01-01,80000,%d,pad,20\n", i+1, axle)
			for k, mm := range []float64{15.5, 11.9, 6.1} {
				km := 100000 + 25000*k
				date := [...]string{"2025-03-01", "2025-09-01", "2026-02-01"}[k]
				fmt.Fprintf(&readings, "Bus %d,%s,%d,%d,pad,left,inner,%.1f\n", i+1, date, km, axle, mm)
				fmt.Fprintf(&readings, "Bus %d,%s,%d,%d,pad,left,outer,%.1f\n", i+1, date, km, axle, mm-2.8+float64(i%7)/10)
			}
		}
		fmt.Fprintf(&odometer, "Bus %d,2026-02-20,%d\n", i+1, 152000+i)
	}
	w.file(ingest.Vehicles, vehicles.String())
	w.file(ingest.Axles, axles.String())
	w.file(ingest.Fitments, fitments.String())
	w.file(ingest.Readings, readings.String())
	w.file(ingest.Odometer, odometer.String())
	w.each(func(i int) error {
		day := time.Date(2025, 3, 1+3*i, 0, 0, 0, 0, time.UTC)
		w.file(ingest.Readings, fmt.Sprintf("vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,%s,%d,1,pad,right,inner,%.2f\nBus 1,%s,%d,1,pad,right,outer,%.2f\n",
			day.Format(time.DateOnly), 100000+400*i, 15.4-.04*float64(i), day.Format(time.DateOnly), 100000+400*i, 15.4-.04*float64(i)))
		return nil
	})
	ups, err := w.svc.DB.Uploads(w.ctx, auth.AllFleets(), 1, 0)
	w.must(err)
	w.marks["upload"] = strconv.FormatInt(ups[0].ID, 10)
	for mark, by := range map[string]string{"file": "dashboard", "sent": "API"} {
		w.each(func(i int) error { return w.handIn(mark, by, i) })
	}
}

// handIn hands a file in and leaves it at that.
func (w *rowsWorld) handIn(mark, by string, i int) error {
	k, err := w.svc.HandIn(w.ctx, auth.AllFleets(), by, pipeline.File{Name: "odometer.csv", Kind: ingest.Odometer,
		Body: strings.NewReader(fmt.Sprintf("vehicle,date,odometer_km\nBus 1,2026-02-25,%d\n", 153000+i))}, false)
	w.marks[mark] = strconv.FormatInt(k.ID, 10)
	return err
}

// measure enters what people find and measure on the first vehicle, and what
// they correct.
func (w *rowsWorld) measure() {
	all, db, today := auth.AllFleets(), w.svc.DB, w.svc.Today()
	km := 152500.
	up, err := w.svc.Inspect(w.ctx, all, rowsBy, pipeline.Inspection{
		VehicleID: 1, Date: today - 1, Technician: rowsBy, OdometerKm: &km,
		Readings:   []fleet.Reading{{Position: fleet.Position{Axle: 2, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}, MM: 5.9, Given: "5.9"}},
		Conditions: []fleet.Condition{{Axle: 1, Kind: fleet.ConditionKinds[0]}},
	})
	w.must(err)
	w.marks["form"] = strconv.FormatInt(up.ID, 10)
	w.each(func(i int) error {
		b, _, err := db.AddBrakeTest(w.ctx, all, fleet.BrakeTest{VehicleID: 1, Date: today - fleet.Date(i), Method: fleet.Roller, System: fleet.ServiceBrake,
			WeightKg: 12000, Wheels: []fleet.WheelEffort{{Axle: 1, Side: fleet.Left, N: 18000}, {Axle: 1, Side: fleet.Right, N: 17500}}}, rowsBy)
		w.marks["test"] = strconv.FormatInt(b.ID, 10)
		return err
	})
	h, err := db.History(w.ctx, all, 1)
	w.must(err)
	n := 0
	for i := range h.Readings {
		if r := &h.Readings[i]; r.Position.Side == fleet.Right && n < w.n {
			n++
			mm := r.MM + .01
			_, err := db.Correct(w.ctx, all, fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}, fleet.Change{MM: &mm, Given: fmt.Sprint(mm)}, fleet.Reason{Why: "misread", By: rowsBy})
			w.must(err)
		}
	}
	w.each(func(i int) error {
		return db.SetAxleLimit(w.ctx, all, fleet.AxleLimit{VehicleID: 1, Axle: 1, Part: fleet.Pad, MM: 3 + float64(i)/100, Reason: fleet.Reason{Why: "own rule", By: rowsBy}})
	})
}

// setUp gives the workshops, the parts and the calendars n entries each.
func (w *rowsWorld) setUp() {
	all, db, today := auth.AllFleets(), w.svc.DB, w.svc.Today()
	depots, err := db.Depots(w.ctx, all)
	w.must(err)
	for _, d := range depots {
		shop := fleet.DefaultWorkshop()
		shop.DepotID, shop.Bays = d.ID, 60
		for i := range 5 {
			shop.Week[i].Technicians = 500
		}
		w.must(db.SaveWorkshop(w.ctx, all, rowsBy, shop))
	}
	w.must(db.PickRules(w.ctx, all, store.RuleChoice{FleetID: 1, RuleSet: "eu", Reason: fleet.Reason{Why: "ours", By: rowsBy}}))
	w.each(func(i int) error {
		on := today + 200 + fleet.Date(i)
		price := 200.
		part, err := db.SaveStockPart(w.ctx, all, fleet.StockPart{FleetID: 1, Number: fmt.Sprint("P-", i), Name: "Pad set", Item: fleet.ItemPads, PerAxle: 1, Price: &price,
			Fits: []fleet.Fit{{Make: "Velquary", Model: "Strand 12", Axle: 1 + i%2}}})
		w.must(err)
		feed := store.CalendarFeed{DepotID: 1, MadeBy: rowsBy}
		secret, err := w.svc.MakeCalendar(w.ctx, all, &feed)
		w.must(err)
		w.marks["secret"] = secret
		for _, err := range []error{
			db.AddClosures(w.ctx, all, []fleet.Closure{{DepotID: 1, First: on, Last: on, Reason: "stocktaking"}}),
			db.SetStock(w.ctx, all, part, 1, i),
			db.AddAbsence(w.ctx, all, fleet.Absence{VehicleID: 1, First: &on, Last: &on, Reason: "hired out"}),
			db.AddPlannedVisit(w.ctx, all, fleet.PlannedVisit{VehicleID: 1, DepotID: 1, Day: on, What: "service"}),
			db.SaveRecipient(w.ctx, all, rowsBy, &store.Recipient{Name: rowsBy, Address: fmt.Sprintf("n%d@island.example", i), Role: store.RolePlanner, Places: []store.Place{{FleetID: 1}}}),
			db.SaveMakersValue(w.ctx, all, rowsBy, fleet.MakersValue{FleetID: 1, Make: "Velquary", Model: fmt.Sprint("Strand ", i), Axle: 1, Measure: fleet.VariationMeasure, High: &price, Unit: "mm", Source: "invented"}),
		} {
			w.must(err)
		}
		return nil
	})
}

// plan books every vehicle of the first depot once, and the first one on many
// days, opens cards for them and leaves a proposal.
func (w *rowsWorld) plan() {
	all, today := auth.AllFleets(), w.svc.Today()
	w.marks["monday"] = today.String()
	var moved int64
	w.each(func(i int) error {
		days := []fleet.Date{today + fleet.Date(i%5)}
		if i == 1 {
			days = nil
			for d := today; len(days) < w.n; d++ {
				if d.Weekday() < 5 {
					days = append(days, d)
				}
			}
		}
		var first fleet.Booking
		for k, day := range days {
			var b fleet.Booking
			var err error
			if k == 0 {
				b, err = w.svc.Book(w.ctx, all, rowsBy, pipeline.ByHand{VehicleID: int64(i), Axles: []int{1, 2}, Slot: fleet.Slot{DepotID: 1, Day: day}})
				first = b
			} else { // no axle is booked twice, so of the fluid
				b, err = w.svc.DB.Book(w.ctx, all, rowsBy, fleet.Booking{VehicleID: int64(i), Slot: fleet.Slot{DepotID: 1, Day: day, Minutes: first.Minutes}, Hours: first.Hours, Work: []fleet.WorkItem{{Item: fleet.ItemFluid}}, Cost: first.Cost})
			}
			if err != nil {
				return fmt.Errorf("vehicle %d on %s: %w", i, day, err)
			}
			if i == 2 {
				moved = b.ID
				w.marks["booking"] = strconv.FormatInt(b.ID, 10)
			}
			if _, err := w.svc.OpenCard(w.ctx, all, rowsBy, b.ID); err != nil {
				return err
			}
		}
		return nil
	})
	w.each(func(i int) error {
		_, err := w.svc.DB.MoveBooking(w.ctx, all, rowsBy, moved, fleet.Slot{DepotID: 1, Day: today + fleet.Date(i%2)}, "the driver asked for it")
		return err
	})
	_, err := w.svc.Propose(w.ctx, all, rowsBy, today, pipeline.ProposeOptions{})
	w.must(err)
}

// work has the scheduled work run n times.
func (w *rowsWorld) work() {
	w.each(func(i int) error {
		run, _, err := w.svc.DB.StartDue(w.ctx, "refit", "UTC", rowsNow.AddDate(0, 0, -i))
		w.must(err)
		return w.svc.DB.EndRun(w.ctx, run.ID, store.RunDone, "Forecast all.")
	})
	_, err := w.svc.Train(w.ctx, w.svc.Today())
	w.must(err)
}
