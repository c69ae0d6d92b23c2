package main

import (
	"fmt"
	"io"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type refitCmd struct {
	database
	AsOf  string `help:"Forecast as of this day, from what was known then; today unless given." placeholder:"2026-03-01"`
	Model string `help:"Model to forecast with." default:"${model}" enum:"${models}"`
	accepted
	listed
}

func (c refitCmd) Help() string {
	return `Examples:
  brakewear refit
  brakewear refit --as-of 2026-03-01 --risk 0.02
  brakewear refit --format json`
}

func (c refitCmd) Run(e *env) error {
	asOf, err := pastDayOr(c.AsOf, e)
	if err != nil {
		return err
	}
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	svc.Model = c.Model
	rep, err := e.refitAll(svc, asOf)
	if err != nil {
		return err
	}
	if c.json() {
		return e.printJSON(refitLineOf(rep))
	}
	printRefit(e.stdout, rep)
	return nil
}

// refitLine is what a refit did, as JSON.
type refitLine struct {
	Axles    int    `json:"axles"`
	Vehicles int    `json:"vehicles"`
	Model    string `json:"model"`
}

func refitLineOf(rep pipeline.RefitReport) refitLine {
	return refitLine{rep.Axles, rep.Vehicles, rep.Model}
}

func printRefit(w io.Writer, rep pipeline.RefitReport) {
	fmt.Fprintf(w, "forecast %s of %s with the model %s\n", counted(rep.Axles, "axle"), counted(rep.Vehicles, "vehicle"), rep.Model)
}

// dayOr reads an ISO date, or returns today when there is none.
func dayOr(s string, e *env) (fleet.Date, error) {
	if s == "" {
		return fleet.DateOf(e.now()), nil
	}
	d, err := fleet.ParseDate(s)
	if err != nil {
		return 0, fleet.Invalidf("%v", err)
	}
	return d, nil
}

// pastDayOr is dayOr for what is kept: a day ahead would be a slip, and forecasts
// of it would stand in the lists.
func pastDayOr(s string, e *env) (fleet.Date, error) {
	d, err := dayOr(s, e)
	if today := fleet.DateOf(e.now()); err == nil && d > today {
		return 0, fleet.Invalidf("as of %s: it lies after today, %s", d, today)
	}
	return d, err
}

// accepted is the setting of commands that say when to book by.
type accepted struct {
	Risk float64 `help:"Accepted chance of being past the limit on the book-by date." env:"BRAKEWEAR_RISK" default:"0.05"`
}

func validRisk(r float64) error {
	if !(r > 0 && r < 0.5) {
		return fleet.Invalidf("risk %g: want a share above 0 and below 0.5, such as 0.05", r)
	}
	return nil
}

// counted is a number of things: 1 axle, 2 axles.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
