// Package faultproxy is a TCP proxy on loopback that does to the line between
// a program and its database what networks and machines do: cuts it, lets it
// stand still, or loses it at the worst moment. For tests; it never reads what it
// passes on, but for the one text that a test waits for.
package faultproxy

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"sync"
	"time"
)

// Proxy passes what comes in on its address on to a server.
type Proxy struct {
	network, address string // of the server
	l                net.Listener
	wait             sync.WaitGroup

	mu      sync.Mutex
	lines   map[*line]bool
	refuses bool
	stalled chan struct{} // closed when bytes may move again; nil while they move
	trap    *trap
	closed  chan struct{}
	opened  int // connections in all
	most    int // at a time
}

// line is one connection of a client and its other half.
type line struct {
	client, server net.Conn
	answered       chan struct{} // closed by the server's next bytes; nil when nobody waits
}

// cut ends both halves at once, as a machine that lost power.
func (l *line) cut() {
	for _, c := range []net.Conn{l.client, l.server} {
		if t, ok := c.(*net.TCPConn); ok {
			t.SetLinger(0)
		}
		c.Close()
	}
}

// trap waits for what a client sends.
type trap struct {
	text   []byte
	skip   int  // how many pieces with the text go by
	passes bool // on to the server
	sprung chan struct{}
}

// Open starts a proxy for the server at an address.
func Open(network, address string) (*Proxy, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("fault proxy: %w", err)
	}
	p := &Proxy{network: network, address: address, l: l, lines: map[*line]bool{}, closed: make(chan struct{})}
	p.wait.Go(p.accept)
	return p, nil
}

// Postgres starts a proxy for the PostgreSQL server of a URL and returns it
// with the URL that goes through it. TLS is left out.
func Postgres(dsn string) (*Proxy, string, error) {
	u, err := url.Parse(dsn)
	if err != nil {
		return nil, "", errors.New("fault proxy: the database's URL cannot be read") // it may hold a password
	}
	q := u.Query()
	host, port := u.Hostname(), u.Port()
	if q.Has("host") {
		host = q.Get("host")
	}
	if port == "" {
		port = "5432"
	}
	network, address := "tcp", net.JoinHostPort(host, port)
	if filepath.IsAbs(host) {
		network, address = "unix", filepath.Join(host, ".s.PGSQL."+port)
	}
	p, err := Open(network, address)
	if err != nil {
		return nil, "", err
	}
	q.Del("host")
	q.Set("sslmode", "disable")
	u.Host, u.RawQuery = p.l.Addr().String(), q.Encode()
	return p, u.String(), nil
}

// Addr is where the proxy listens.
func (p *Proxy) Addr() string { return p.l.Addr().String() }

// Cut cuts all connections there are.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for l := range p.lines {
		l.cut()
	}
}

// Refuse closes new connections at once, until Accept; those there are go on.
func (p *Proxy) Refuse() { p.refuse(true) }

// Accept ends Refuse.
func (p *Proxy) Accept() { p.refuse(false) }

func (p *Proxy) refuse(refuses bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refuses = refuses
}

// Stall holds back every byte, both ways, until Resume. Connections stay, and
// new ones are taken: nobody at either end is told anything.
func (p *Proxy) Stall() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stalled == nil {
		p.stalled = make(chan struct{})
	}
}

// Resume lets the bytes go that Stall held back.
func (p *Proxy) Resume() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stalled != nil {
		close(p.stalled)
		p.stalled = nil
	}
}

// CutAt cuts the next connection on which a client sends a text, once: before
// the server has it, or after, so that only the server's answer is lost. The
// channel is closed when that has happened.
func (p *Proxy) CutAt(text string, passes bool) (sprung <-chan struct{}) {
	return p.set(&trap{text: []byte(text), passes: passes})
}

// CutAfter is CutAt for whatever a client sends after n pieces more, one for
// each time that it writes.
func (p *Proxy) CutAfter(n int, passes bool) (sprung <-chan struct{}) {
	return p.set(&trap{skip: n, passes: passes})
}

func (p *Proxy) set(t *trap) <-chan struct{} {
	t.sprung = make(chan struct{})
	p.mu.Lock()
	defer p.mu.Unlock()
	p.trap = t
	return t.sprung
}

// Disarm ends CutAt and CutAfter, where nothing has been cut yet.
func (p *Proxy) Disarm() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.trap = nil
}

// Connections returns how many there were in all, and how many at most at a
// time.
func (p *Proxy) Connections() (opened, most int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.opened, p.most
}

// Close cuts all connections and ends the proxy.
func (p *Proxy) Close() error {
	close(p.closed)
	err := p.l.Close()
	p.Cut()
	p.wait.Wait()
	return err
}

func (p *Proxy) accept() {
	for {
		client, err := p.l.Accept()
		if err != nil {
			return
		}
		p.wait.Go(func() { p.serve(client) })
	}
}

func (p *Proxy) serve(client net.Conn) {
	p.mu.Lock()
	refuses := p.refuses
	p.mu.Unlock()
	if refuses {
		client.Close()
		return
	}
	server, err := net.Dial(p.network, p.address)
	if err != nil {
		client.Close()
		return
	}
	l := &line{client: client, server: server}
	p.mu.Lock()
	p.lines[l] = true
	p.opened++
	p.most = max(p.most, len(p.lines))
	p.mu.Unlock()
	var both sync.WaitGroup
	both.Go(func() { p.pass(l, server, client, true) })
	both.Go(func() { p.pass(l, client, server, false) })
	both.Wait()
	p.mu.Lock()
	delete(p.lines, l)
	p.mu.Unlock()
}

// pass moves bytes one way until either side ends.
func (p *Proxy) pass(l *line, to, from net.Conn, upwards bool) {
	defer to.Close()
	defer from.Close()
	buf := make([]byte, 64<<10)
	for {
		n, err := from.Read(buf)
		if n > 0 && !p.one(l, to, buf[:n], upwards) {
			return
		}
		if err != nil {
			return
		}
	}
}

// one moves some bytes; false when the line is over.
func (p *Proxy) one(l *line, to net.Conn, b []byte, upwards bool) bool {
	p.mu.Lock()
	stalled, t := p.stalled, p.trap
	springs := upwards && t != nil && bytes.Contains(b, t.text)
	if springs && t.skip > 0 {
		t.skip--
		springs = false
	}
	if springs {
		p.trap = nil
		l.answered = make(chan struct{})
	}
	if !upwards && l.answered != nil {
		close(l.answered)
		l.answered = nil
	}
	answered := l.answered
	p.mu.Unlock()
	if springs {
		if t.passes {
			l.client.Close() // first, or the answer may get through
			to.Write(b)
			select {
			case <-answered:
			case <-time.After(passing):
			}
		}
		l.cut()
		close(t.sprung)
		return false
	}
	if stalled != nil {
		select {
		case <-stalled:
		case <-p.closed:
			return false
		}
	}
	_, err := to.Write(b)
	return err == nil
}

// passing is how long a server may take to answer what it was sent before the
// line is cut all the same.
const passing = 300 * time.Millisecond
