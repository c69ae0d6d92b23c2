package web

import (
	"cmp"
	"context"
	"net/netip"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// ParseProxies reads the networks, or single addresses, of trusted proxies.
func ParseProxies(list []string) ([]netip.Prefix, error) {
	var proxies []netip.Prefix
	for _, s := range list {
		s = strings.TrimSpace(s)
		p, err := netip.ParsePrefix(s)
		if a, aerr := netip.ParseAddr(s); aerr == nil && a.Zone() == "" {
			p, err = netip.PrefixFrom(a, a.BitLen()), nil
		}
		if err != nil || p.Addr().Is4In6() {
			return nil, fleet.Invalidf("trusted proxy %q: want an address or a network, such as 10.1.2.3 or 10.1.0.0/16", s)
		}
		if p.Bits() == 0 {
			return nil, fleet.Invalidf("trusted proxy %q: this is everybody, and anybody could give out to be anybody else: name the proxies", s)
		}
		proxies = append(proxies, p.Masked())
	}
	return proxies, nil
}

// TrustProxies takes the word of proxies on whom a request comes from
// (X-Forwarded-For) and whether it came over TLS (X-Forwarded-Proto), on the
// routes that are registered after it. Of anybody else such headers are worth
// nothing. Proxies add to the right of X-Forwarded-For, so the client is the
// rightmost address that is no trusted proxy's.
func TrustProxies(r *gin.Engine, proxies []netip.Prefix) {
	var networks []string
	for _, p := range proxies {
		networks = append(networks, p.String())
	}
	if err := r.SetTrustedProxies(networks); err != nil {
		panic(err) // a prefix is a network
	}
	r.Use(func(c *gin.Context) {
		peer, err := netip.ParseAddr(c.RemoteIP())
		if err != nil || !strings.EqualFold(c.GetHeader("X-Forwarded-Proto"), "https") {
			return
		}
		for _, p := range proxies {
			if p.Contains(peer.Unmap()) {
				c.Request = c.Request.WithContext(context.WithValue(c.Request.Context(), secureKey, true))
				return
			}
		}
	})
}

// Client returns the address that a request comes from, as the log and the
// audit say it.
func Client(c *gin.Context) string { return cmp.Or(c.ClientIP(), c.RemoteIP()) } // gin knows no zones

// Origin is the client's address as far as bounds count by it.
func Origin(c *gin.Context) string { return auth.Network(Client(c)) }
