package storetest

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// SignIn adds an account of the name with the grants, and returns the secret
// of a session of it.
func SignIn(ctx context.Context, db *store.DB, name string, grants ...auth.Grant) (string, error) {
	a := store.Account{Name: name, Email: name + "@example.org"}
	for _, g := range grants {
		a.Grants = append(a.Grants, store.Grant{Role: g.Role, Place: store.Place{FleetID: g.FleetID, DepotID: g.DepotID}})
	}
	if err := db.AddAccount(ctx, auth.AllFleets(), "test", &a); err != nil {
		return "", err
	}
	secret := auth.NewSecret()
	return secret, db.StartSession(ctx, a.ID, secret, "test")
}
