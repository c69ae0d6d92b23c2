package main

import (
	"fmt"

	"brakewear/internal/demo"
	"brakewear/internal/fleet"
)

type simulateCmd struct {
	Vehicles int     `help:"How many vehicles." default:"1500"`
	Seed     uint64  `help:"The same seed gives the same fleet." default:"1"`
	Until    string  `help:"Last day of the history." default:"2026-06-30" placeholder:"2026-06-30"`
	Years    float64 `help:"Years of history." default:"2.5"`
	Out      string  `required:"" help:"Folder for the five files and the folder truth." placeholder:"DIR"`
}

func (c simulateCmd) Help() string {
	return `Example:
  brakewear simulate --vehicles 200 --out invented`
}

func (c simulateCmd) Run(e *env) error {
	until, err := dayOr(c.Until, e)
	if err != nil {
		return err
	}
	if c.Vehicles < 1 || c.Years <= 0 || c.Years > 30 {
		return fleet.Invalidf("want at least 1 vehicle and above 0 to 30 years, not %d and %g", c.Vehicles, c.Years)
	}
	opt := demo.Options{Vehicles: c.Vehicles, Seed: c.Seed, Until: until, Years: c.Years}
	err = e.during("inventing", func() error { return demo.WriteCSV(c.Out, opt) })
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "%d invented vehicles are in %s, the truth behind them in its folder truth.\n", c.Vehicles, c.Out)
	return err
}
