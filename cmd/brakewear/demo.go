package main

import (
	"fmt"

	"brakewear/dashboard"
	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

type demoCmd struct {
	Database string `help:"File to keep the demo's database in; a temporary one unless given." placeholder:"FILE"`
	Listen   string `help:"Address to serve on; a free port of this machine unless given." default:"127.0.0.1:0"`
}

// demoMonths is how long the demo's fleet has a track record. A test has it shorter:
// every month is learned anew.
var demoMonths = 12

func (c demoCmd) Help() string {
	return `Examples:
  brakewear demo
  brakewear demo --database demo.db --listen 127.0.0.1:8080`
}

func (c demoCmd) Run(e *env) error {
	l, err := listenOn("--listen", c.Listen) // said before the fleet is made, which takes a while
	if err != nil {
		return err
	}
	if err := l.Close(); err != nil {
		return err
	}
	open := temporary
	if c.Database != "" {
		open = database{Database: c.Database}.lasting // made, where it is not there yet
	}
	db, done, err := open(e)
	if err != nil {
		return err
	}
	defer done()
	svc := e.service(db, 0)
	if err := demo.MayUse(e.ctx, svc); err != nil {
		if (database{Database: c.Database}).server() {
			return fmt.Errorf("this database %w", err) // its address may hold a password
		}
		return fmt.Errorf("database %s %w", c.Database, err)
	}
	// Before the fleet, so that one cut off half made is known for a demo's.
	accounts, err := demo.Accounts(e.ctx, svc)
	if err != nil {
		return fmt.Errorf("demo accounts: %w", err)
	}
	vehicles, _, _, err := db.Counts(e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	if vehicles == 0 {
		fmt.Fprintln(e.stdout, "Making the demo fleet: invented vehicles of an invented island.")
		today := fleet.DateOf(e.now())
		err := e.during("taking in", func() error { return demo.TakeIn(e.ctx, svc, demo.Island(today)) })
		if err != nil {
			return fmt.Errorf("demo fleet: %w", err)
		}
		if _, err := e.replay(svc, today, demoMonths); err != nil {
			return fmt.Errorf("demo fleet: %w", err)
		}
		rep, err := e.refitAll(svc, today)
		if err != nil {
			return err
		}
		printRefit(e.stdout, rep)
		if err := e.during("planning", func() error { return demo.Plan(e.ctx, svc) }); err != nil {
			return fmt.Errorf("demo fleet: %w", err)
		}
	}
	var offered []dashboard.DemoAccount
	for _, a := range accounts {
		offered = append(offered, dashboard.DemoAccount(a))
	}
	return serve(e, svc, listening{Listen: c.Listen, FilesPerMinute: web.FilesPerMinute, ChangesPerMinute: web.ChangesPerMinute}, offered)
}
