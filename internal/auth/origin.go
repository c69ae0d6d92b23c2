package auth

import (
	"context"
	"net/netip"
)

// Via is the way that a change came in.
type Via string

// The ways.
const (
	ViaPage    Via = "page"
	ViaAPI     Via = "api"
	ViaCommand Via = "command"
	ViaWork    Via = "work" // that the program does by itself, or in somebody's name later
)

// Origin is where a change comes from, for the log of changes.
type Origin struct {
	Via     Via
	From    string // network address, or user of the machine
	Name    string // of who acts
	Account int64  // 0 = none
	Token   int64  // 0 = not by a token
	Request string // its id, as in the program's log
}

type originKey struct{}

// WithOrigin makes o what is kept of the changes made with the context.
func WithOrigin(ctx context.Context, o Origin) context.Context {
	return context.WithValue(ctx, originKey{}, o)
}

// OriginOf returns what WithOrigin put in; the zero Origin where it did not.
func OriginOf(ctx context.Context) Origin {
	o, _ := ctx.Value(originKey{}).(Origin)
	return o
}

// Network is a client's address as far as bounds count by it. Of IPv6 that is the
// first half: whoever has one has a whole network of them (RFC 6177, 2).
func Network(client string) string {
	a, err := netip.ParseAddr(client)
	if err != nil || a.Unmap().Is4() {
		return client
	}
	p, err := a.WithZone("").Prefix(64)
	if err != nil {
		return client
	}
	return p.String()
}
