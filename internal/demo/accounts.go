package demo

import (
	"context"

	"brakewear/internal/auth"
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
	{"manager", "Ilse Marn", "manager@island.example", password, "opens the due-soon list: what reaches its limit when, what is booked, what it costs"},
	{"planner", "Pell Torva", "planner@island.example", password, "books vehicles ahead of their limits, within the hours there are"},
	{"technician", "Juno Keel", "technician@island.example", password, "enters readings, works from the job card, enters the brake test"},
	{"admin", "Odo Lund", "admin@island.example", password, "looks after accounts and scheduled work"},
}

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
		if err := svc.AddAccountWithPassword(ctx, auth.AllFleets(), "the demo", &made, a.Password); err != nil {
			return nil, err
		}
	}
	return accounts, nil
}
