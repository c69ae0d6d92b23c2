// Package mailtest is an SMTP server on loopback for tests: it takes mail, or
// refuses or fails in the ways that servers do. It never hands mail on.
package mailtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"brakewear/internal/mail"
)

// Options are what is special about a server.
type Options struct {
	Security       string // as in package mail
	User, Password string // asked for where not blank
	// Refuse makes it say no to a step: "mail", "rcpt", "data".
	Refuse map[string]*smtp.SMTPError
	// RefuseTimes is how often it does, of all steps together; 0 = always.
	RefuseTimes int
	// Drop cuts the line instead of answering: "rcpt", or "data" when it has
	// all of the mail.
	Drop string
	// Hang makes it wait until the server ends instead of answering: "greet",
	// "rcpt", "data".
	Hang string
	// Foreign makes its certificate one that nobody vouches for.
	Foreign bool
}

// Received is a mail that the server took.
type Received struct {
	From, To string
	Body     string // headers and all
	TLS      bool   // the way was protected
	User     string // who signed in
}

// Server is a running server.
type Server struct {
	mail.Server // settings to reach it by

	opt  Options
	done chan struct{}

	mu      sync.Mutex
	got     []Received
	refused int
}

// Start starts a server that ends with the test.
func Start(tb testing.TB, opt Options) *Server {
	tb.Helper()
	s := &Server{opt: opt, done: make(chan struct{})}
	certificate, roots := certify(tb)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	s.Server = mail.Server{
		Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Security: opt.Security,
		User: opt.User, Password: opt.Password, From: "Brakes <brakes@island.example>", Timeout: 10 * time.Second, Roots: roots,
	}
	if opt.Foreign {
		s.Roots = x509.NewCertPool()
	}
	var wg sync.WaitGroup
	tb.Cleanup(wg.Wait)
	if opt.Hang == "greet" {
		wg.Go(func() { s.silent(l) })
		tb.Cleanup(func() { l.Close(); close(s.done) })
		return s
	}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		return &session{s: s, c: c}, nil
	}))
	srv.Domain = "mail.island.example"
	srv.ErrorLog = log.New(io.Discard, "", 0)
	config := &tls.Config{Certificates: []tls.Certificate{certificate}}
	switch opt.Security {
	case mail.TLS:
		l = tls.NewListener(l, config)
	case mail.Clear:
	default:
		srv.TLSConfig = config
	}
	wg.Go(func() { srv.Serve(l) })
	tb.Cleanup(func() {
		close(s.done)
		srv.Close()
		l.Close() // where the server did not get so far as to own it
	})
	return s
}

// Received returns the mails taken so far.
func (s *Server) Received() []Received {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Received(nil), s.got...)
}

// silent accepts connections and never says a word.
func (s *Server) silent(l net.Listener) {
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		go func() {
			<-s.done
			c.Close()
		}()
	}
}

type session struct {
	s        *Server
	c        *smtp.Conn
	user     string
	from, to string
}

// step answers a step as the server's options have it.
func (x *session) step(name string) error {
	if x.s.opt.Hang == name {
		<-x.s.done
	}
	if x.s.opt.Drop == name {
		x.c.Conn().Close()
		return errors.New("cut")
	}
	if err := x.s.opt.Refuse[name]; err != nil && x.s.refuses() {
		return err
	}
	return nil
}

// refuses says whether it is one of the times to refuse, and counts it.
func (s *Server) refuses() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refused++
	return s.opt.RefuseTimes == 0 || s.refused <= s.opt.RefuseTimes
}

// Refused returns how often the server refused, or was to.
func (s *Server) Refused() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refused
}

func (x *session) AuthMechanisms() []string {
	if x.s.opt.User == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (x *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != x.s.opt.User || password != x.s.opt.Password {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "who are you"}
		}
		x.user = user
		return nil
	}), nil
}

func (x *session) Mail(from string, _ *smtp.MailOptions) error {
	x.from = from
	return x.step("mail")
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.to = to
	return x.step("rcpt")
}

func (x *session) Data(r io.Reader) error {
	body, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if x.s.opt.Refuse["data"] == nil {
		x.s.mu.Lock()
		_, secure := x.c.TLSConnectionState()
		x.s.got = append(x.s.got, Received{From: x.from, To: x.to, Body: string(body), TLS: secure, User: x.user})
		x.s.mu.Unlock()
	}
	return x.step("data")
}

func (x *session) Reset()        { x.from, x.to = "", "" }
func (x *session) Logout() error { return nil }

// certify makes a certificate for loopback, and the pool that vouches for it.
func certify(tb testing.TB) (tls.Certificate, *x509.CertPool) {
	tb.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber:          big.NewInt(1),
		IPAddresses:           []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore:             time.Now().Add(-time.Hour),
		NotAfter:              time.Now().Add(time.Hour),
		IsCA:                  true,
		BasicConstraintsValid: true,
		KeyUsage:              x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		tb.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		tb.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, roots
}
