// Package auth says who may do what: roles, the rights they give, grants of a
// role on a fleet, a depot or everything, and the scope of fleets and depots
// that follows, which every store method on fleet data takes. It hashes
// passwords and makes secrets too. It is pure but for randomness, never reads a
// request and never touches a database.
package auth
