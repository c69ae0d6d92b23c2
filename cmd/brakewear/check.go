package main

import (
	"errors"
	"fmt"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

type checkCmd struct {
	database
	listed
}

func (c checkCmd) Help() string {
	return `Reads everything and changes nothing, also while others write. It says each rule that the data
break and which rows break it. A broken rule does not say that something was lost, nor that nothing
was: something was written that brakewear does not write, by hand, by a fault of the disk, or by a
fault of brakewear.

Example:
  brakewear check --database fleet.db`
}

// checked is what check prints as JSON.
type checked struct {
	Rules  int          `json:"rules"`
	Broken []brokenRule `json:"broken"`
	// Secrets of second factors that are kept sealed, and as they are.
	SecondsSealed int `json:"seconds_sealed"`
	SecondsOpen   int `json:"seconds_open"`
}

type brokenRule struct {
	Rule string   `json:"rule"`
	Rows int      `json:"rows"`
	Some []string `json:"some"`
}

// errBroken ends a check that found something.
var errBroken = errors.New("the data break rules; they are listed above")

func (c checkCmd) Run(e *env) error {
	if _, err := e.keys(); err != nil {
		return err // as serve would not start
	}
	if err := c.there(); err != nil {
		return err
	}
	db, err := store.Open(e.ctx, c.Database) // as it is
	if err != nil {
		return err
	}
	defer db.Close()
	broken, rules, err := db.Check(e.ctx)
	if err != nil {
		return err
	}
	out := checked{Rules: rules, Broken: []brokenRule{}}
	for _, b := range broken {
		out.Broken = append(out.Broken, brokenRule(b))
	}
	kept, err := db.KeptSeconds(e.ctx)
	if err != nil {
		return err
	}
	for _, k := range kept {
		if auth.Sealed(k.Secret) {
			out.SecondsSealed++
		} else {
			out.SecondsOpen++
		}
	}
	if c.json() {
		err = e.printJSON(out)
	} else {
		err = c.print(e, out)
	}
	if err == nil && len(broken) > 0 {
		err = errBroken
	}
	return err
}

func (c checkCmd) print(e *env, out checked) error {
	for _, b := range out.Broken {
		fmt.Fprintf(e.stdout, "Broken: %s\n", b.Rule)
		for _, row := range b.Some {
			fmt.Fprintf(e.stdout, "  %s\n", row)
		}
		if more := b.Rows - len(b.Some); more > 0 {
			fmt.Fprintf(e.stdout, "  and %d more\n", more)
		}
	}
	_, err := fmt.Fprintf(e.stdout, "%d of %d rules hold.\n", out.Rules-len(out.Broken), out.Rules)
	if out.SecondsSealed > 0 {
		fmt.Fprintf(e.stdout, "Secrets of second factors that are sealed: %d. Keep %s apart from backups, and do not lose it.\n", out.SecondsSealed, secondKeys)
	}
	if out.SecondsOpen > 0 {
		fmt.Fprintf(e.stdout, "Secrets of second factors that whoever has the database can use: %d. %s seals them (brakewear help operations).\n", out.SecondsOpen, secondKeys)
	}
	return err
}
