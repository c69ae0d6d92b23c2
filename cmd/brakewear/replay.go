package main

import (
	"fmt"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type replayCmd struct {
	database
	accepted
	Months int    `help:"How many months back." default:"12"`
	Model  string `help:"Model to forecast with." default:"${model}" enum:"${models}"`
	listed
}

func (c replayCmd) Help() string {
	return `For a fleet that comes with its history: works out, from what was known on each of the
past months' days, the forecasts that would have been made then, and holds them against what
came off since. The track record says which forecasts were made afterwards. Example:
  brakewear replay --months 24`
}

func (c replayCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	if c.Months < 1 || c.Months > 120 {
		return fleet.Invalidf("months %d: want 1 to 120", c.Months)
	}
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	svc.Model = c.Model
	today := fleet.DateOf(e.now())
	axles, err := e.replay(svc, today, c.Months)
	if err != nil {
		return err
	}
	rep, err := e.refitAll(svc, today)
	if err != nil {
		return err
	}
	if c.json() {
		return e.printJSON(replayLine{axles, c.Months, refitLineOf(rep)})
	}
	fmt.Fprintf(e.stdout, "%d forecasts of %d past days\n", axles, c.Months)
	printRefit(e.stdout, rep)
	return nil
}

// replayLine is what a replay did, as JSON.
type replayLine struct {
	Forecasts int       `json:"forecasts"` // of axles, over all days
	Days      int       `json:"days"`
	Refit     refitLine `json:"refit"`
}

// replay replays so many months before today.
func (e *env) replay(svc *pipeline.Service, today fleet.Date, months int) (axles int, err error) {
	err = e.forecasting(svc, "replaying", months, func() error {
		axles, err = svc.Replay(e.ctx, auth.AllFleets(), pastDays(today, months))
		return err
	})
	return axles, err
}

// pastDays returns a day a month before today, oldest first.
func pastDays(today fleet.Date, months int) []fleet.Date {
	var days []fleet.Date
	for m := months; m >= 1; m-- {
		days = append(days, today-fleet.Date(m*pipeline.ReplayEvery))
	}
	return days
}
