package demo

import (
	"context"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Account is one that anybody may use who opens the demo.
type Account struct {
	Role, Name, Email, Password, Does string
}

// password of the demo's accounts; no other installation has them.
const password = "only for the demo"

// accounts are invented people, one of each role. Names ending in .example
// are nobody's (RFC 2606).
var accounts = []Account{
	{"manager", "Ilse Marn", "manager@island.example", password, "opens the list of what is to be booked: what reaches its limit when, what is booked, what it costs"},
	{"planner", "Pell Torva", "planner@island.example", password, "books vehicles ahead of their limits, within the hours there are"},
	{"technician", "Juno Keel", "technician@island.example", password, "enters readings, works from the job card, enters the brake test"},
	{"admin", "Odo Lund", "admin@island.example", password, "looks after accounts and scheduled work"},
}

// MayUse refuses a database that holds vehicles or accounts and is not a demo's:
// everybody knows the passwords that would open it.
func MayUse(ctx context.Context, svc *pipeline.Service) error {
	there, err := svc.DB.Accounts(ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	if slices.ContainsFunc(there, func(a store.Account) bool { return a.AddedBy == madeBy }) {
		return nil
	}
	vehicles, _, _, err := svc.DB.Counts(ctx, auth.AllFleets())
	switch {
	case err != nil:
		return err
	case vehicles > 0:
		return fleet.Invalidf("holds a fleet that is not the demo's: give another file")
	case len(there) > 0:
		return fleet.Invalidf("holds accounts that are not the demo's: give another file")
	}
	return nil
}

// madeBy is who adds the demo's accounts; MayUse knows them by it.
const madeBy = "the demo"

// Accounts makes the demo's accounts where they are not there yet, and
// returns them.
func Accounts(ctx context.Context, svc *pipeline.Service) ([]Account, error) {
	for _, a := range accounts {
		id, _, err := svc.DB.PasswordOf(ctx, a.Email)
		if err != nil {
			return nil, err
		}
		if id != 0 {
			continue
		}
		made := store.Account{Name: a.Name, Email: a.Email, Grants: []store.Grant{{Role: auth.Role(a.Role)}}}
		if err := svc.AddAccountWithPassword(ctx, auth.AllFleets(), madeBy, &made, a.Password); err != nil {
			return nil, err
		}
	}
	return accounts, nil
}
