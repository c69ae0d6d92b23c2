package main

import (
	"errors"
	"fmt"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

type correctCmd struct {
	database
	accepted
	told
	Kind       string `arg:"" help:"What is wrong: reading, odometer or fitment." enum:"reading,odometer,fitment"`
	ID         int64  `arg:"" name:"id" help:"Its number, as the vehicle's history and the list of findings give it."`
	Value      string `help:"What it should be: mm, or with its unit such as '9/32 in'." xor:"act"`
	Date       string `help:"The day it should be of." placeholder:"2026-03-01"`
	Odometer   string `help:"The odometer it should have: km, or with its unit; 'none' for not read." placeholder:"KM"`
	WholeVisit bool   `help:"Day and odometer are wrong for all readings of the visit."`
	Confirmed  bool   `help:"It is so, unlikely as it is."`
	SetAside   bool   `help:"Nothing stands instead: it counts no more." xor:"act"`
	Undo       bool   `help:"It was set aside, and is to count again." xor:"act"`
	Why        string `help:"Why, for whoever reads the history later." required:""`
	By         string `help:"Who says so." required:""`
}

func (c correctCmd) Help() string {
	return `Examples:
  brakewear correct reading 1704 --value 6.4 --why "read off the wrong wheel" --by "N. N."
  brakewear correct odometer 88 --set-aside --why "another bus" --by "N. N."

A change that disagrees with what is known of the vehicle is pointed out and not
made, until it is given again with --confirmed. The old value is kept and can be
seen in the vehicle's history; its forecast and its findings follow at once. What a
closed job card took off the shelf for a fitment that is set aside goes back on it
with the last part of its set, and off again when that is undone, unless the shelf
was given another number or counted by a file since.`
}

func (c correctCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	tell, err := c.reader()
	if err != nil {
		return err
	}
	ch, err := c.change()
	if err != nil {
		return err
	}
	if (c.SetAside || c.Undo) && (!ch.Empty() || c.Confirmed) {
		return fleet.Invalidf("give what it should be, or set it aside, or undo that: one of them")
	}
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	rec := fleet.Record{Kind: fleet.RecordKind(c.Kind), ID: c.ID}
	why := fleet.Reason{Why: c.Why, By: c.By}
	done := make([]fleet.Correction, 1)
	switch {
	case c.SetAside:
		done[0], err = svc.SetAside(e.ctx, auth.AllFleets(), rec, why, svc.Today())
	case c.Undo:
		done[0], err = svc.UndoSetAside(e.ctx, auth.AllFleets(), rec, why, svc.Today())
	case c.Confirmed:
		done, err = svc.Correct(e.ctx, auth.AllFleets(), rec, ch, why, svc.Today())
	default:
		done, err = svc.CorrectIfLikely(e.ctx, auth.AllFleets(), rec, ch, why, svc.Today())
	}
	if doubt, ok := errors.AsType[*pipeline.DoubtError](err); ok {
		var texts []string
		for _, r := range doubt.Remarks {
			texts = append(texts, tell.Text(r.Text, svc.Today()))
		}
		return fleet.Invalidf("nothing was changed: %s Look again, and give --confirmed if it is so", strings.Join(texts, " "))
	}
	if err != nil {
		return err
	}
	for _, x := range done {
		what := map[fleet.Act]string{fleet.SetAside: "set aside", fleet.Undone: "counts again"}[x.Act]
		if x.Act == fleet.Corrected {
			what = fmt.Sprintf("corrected; %s stands instead", fleet.Record{Kind: rec.Kind, ID: x.StandsID})
		}
		fmt.Fprintf(e.stdout, "%s: %s\n", x.Record, what)
		if x.Shelf != "" {
			fmt.Fprintln(e.stdout, x.Shelf.Words())
		}
	}
	return nil
}

// change reads what is to be different.
func (c correctCmd) change() (ch fleet.Change, err error) {
	if c.Date != "" {
		d, err := fleet.ParseDate(c.Date)
		if err != nil {
			return ch, fleet.Invalidf("%v", err)
		}
		ch.Date = &d
	}
	if c.Value != "" {
		x, err := ingest.ParseThickness(c.Value, "mm")
		if err != nil {
			return ch, fleet.Invalidf("value: %v", err)
		}
		ch.MM, ch.Given, ch.Unit = &x.MM, x.Given, x.Unit
	}
	switch c.Odometer {
	case "":
	case "none":
		ch.NoOdometer = true
	default:
		km, err := ingest.ParseDistance(c.Odometer, "km")
		if err != nil {
			return ch, fleet.Invalidf("odometer: %v", err)
		}
		ch.OdometerKm = &km
	}
	ch.WholeVisit = c.WholeVisit
	return ch, nil
}

type findingsCmd struct {
	database
	Kind string `help:"Only of this kind."`
	All  bool   `help:"Also those looked at, and those no longer seen."`
	told
	listed
}

func (c findingsCmd) Help() string {
	return `Examples:
  brakewear findings
  brakewear findings --all --format json`
}

func (c findingsCmd) Run(e *env) error {
	q := store.FindingQuery{Kind: fleet.FindingKind(c.Kind)}
	if q.Kind != "" && !q.Kind.Valid() {
		return fleet.Invalidf("kind %q: want one of %s", c.Kind, fleet.OneOf(fleet.FindingKinds()))
	}
	if !c.All {
		q.States = []fleet.FindingState{fleet.OpenFinding}
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
	today := fleet.DateOf(e.now())
	n := 0
	list := []findingLine{}
	err = db.EachFinding(e.ctx, auth.AllFleets(), q, func(f store.FindingRow) error {
		n++
		if c.json() {
			list = append(list, findingLine{f.ID, f.Fleet, f.Depot, f.Vehicle, string(f.Kind), string(f.State), f.Seen, f.Advice, string(f.Record.Kind), f.Record.ID})
			return nil
		}
		record := ""
		if f.Record.ID != 0 {
			record = fmt.Sprintf(" [%s]", f.Record)
		}
		_, err := fmt.Fprintf(e.stdout, "%s, %s (%s): %s %s%s\n", f.Vehicle, f.Kind, f.State, tell.Text(f.Seen, today), f.Advice, record)
		return err
	})
	if err == nil && c.json() {
		return e.printJSON(list)
	}
	if err == nil && n == 0 {
		fmt.Fprintln(e.stdout, "nothing to look at")
	}
	return err
}

// findingLine is a finding as JSON.
type findingLine struct {
	ID       int64  `json:"id"`
	Fleet    string `json:"fleet"`
	Depot    string `json:"depot"`
	Vehicle  string `json:"vehicle"`
	Kind     string `json:"kind"`
	State    string `json:"state"`
	Seen     string `json:"seen"`
	Advice   string `json:"advice"`
	Record   string `json:"record,omitempty"` // what it is about, where that is one row
	RecordID int64  `json:"record_id,omitempty"`
}
