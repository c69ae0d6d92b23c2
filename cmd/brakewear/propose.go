package main

import (
	"fmt"
	"io"
	"time"

	"brakewear/api"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

type proposeCmd struct {
	database
	AsOf string        `help:"Plan as of this day; today unless given." placeholder:"2026-03-01"`
	Days int           `help:"How many days to plan ahead." default:"60"`
	Time time.Duration `help:"How long to look for better plans; 0s until no more are found." default:"0s"`
	accepted
	told
	listed
}

func (c proposeCmd) Help() string {
	return `Examples:
  brakewear propose --days 30 --time 20s
  brakewear propose --format json`
}

func (c proposeCmd) Run(e *env) error {
	asOf, err := pastDayOr(c.AsOf, e)
	if err != nil {
		return err
	}
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	if c.Days < 1 {
		return fleet.Invalidf("--days %d: want 1 to 366", c.Days)
	}
	if c.Time < 0 {
		return fleet.Invalidf("--time %s: want 0s or more", c.Time)
	}
	tell, err := c.reader()
	if err != nil {
		return err
	}
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	var ps []store.Proposal
	err = e.during("planning", func() error {
		ps, err = e.service(db, c.Risk).Propose(e.ctx, auth.AllFleets(), "brakewear propose", asOf, pipeline.ProposeOptions{Days: c.Days, Budget: c.Time})
		return err
	})
	if err != nil {
		return err
	}
	if c.json() {
		return e.printJSON(api.PlannedOf(ps))
	}
	for i := range ps {
		printProposal(e.stdout, tell, asOf, &ps[i])
	}
	return nil
}

func printProposal(w io.Writer, tell units.Reader, asOf fleet.Date, p *store.Proposal) {
	text := func(s string) string { return tell.Text(s, asOf) }
	f := &p.Figures
	fmt.Fprintf(w, "%s: %d axles looked at to %s: %d placed, %d may wait, %d without a place\n", p.Fleet, f.Due, p.Until, f.Placed, f.Later, f.Unplaced)
	if f.Cut {
		fmt.Fprintf(w, "  the time ran out: at most %.1f %% dearer than the best plan there can be\n", 100*max(0, p.Cost-p.Bound)/p.Cost)
	}
	for i := range p.Visits {
		v := &p.Visits[i]
		if v.Advice == store.AdviseNothing {
			fmt.Fprintf(w, "  %-8s  %s: %s. %s\n", v.Advice, v.Vehicle, text(v.Why), text(v.Remedy))
			continue
		}
		fmt.Fprintf(w, "  %-8s  %s %s, %s bay %d: %s, %.1f h: %s\n", v.Advice, v.Day, v.Starts, v.Depot, v.Bay, v.Vehicle, v.Hours, text(v.Why))
	}
	for _, s := range f.Dropped {
		fmt.Fprintf(w, "  dropped   %s\n", text(s))
	}
}
