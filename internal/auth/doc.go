// Package auth says who may do what: scopes of fleets and depots, roles and
// rights, and the hashes that passwords and tokens are kept as. It is pure:
// accounts, sessions and grants are rows of the store, and it never reads a
// request.
package auth
