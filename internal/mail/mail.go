// Package mail sends e-mail through one SMTP server. It never decides whom to
// tell, or what: package pipeline does.
package mail

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"strconv"
	"strings"
	"sync"
	"time"

	gomail "github.com/wneessen/go-mail"

	"brakewear/internal/fleet"
)

// How the way to the server is protected.
const (
	StartTLS = "starttls" // begins in the clear and must change to TLS (RFC 3207); the default
	TLS      = "tls"      // from the first byte (RFC 8314)
	Clear    = "none"     // for a relay on the same machine
)

// Server is the SMTP server that mail is handed to.
type Server struct {
	Host     string
	Port     int // 0 = the usual one of Security
	Security string
	User     string // "" = no sign-in
	Password string
	From     string         // address, with or without a name
	Timeout  time.Duration  // of each step; 0 = DefaultTimeout
	Roots    *x509.CertPool // nil = those of the machine
}

const (
	// DefaultTimeout is long enough for a server that looks a sender up before
	// it answers, and short enough for a list of people.
	DefaultTimeout = 30 * time.Second
	// stepsPerMail bounds a mail as a whole: a server that answers each step
	// just in time must not keep us for ever.
	stepsPerMail = 4
)

// usualPorts are those of RFC 6409 and RFC 8314, and of a relay.
var usualPorts = map[string]int{StartTLS: 587, TLS: 465, Clear: 25}

// Message is one mail to one person.
type Message struct {
	ID            string // before the @ of the Message-ID; one sent again keeps it
	ToName, To    string
	Subject       string
	Text, HTML    string
	Date          time.Time
	ManageAddress string // page where the person can be taken off; "" = none
}

// ErrUncertain is the error of a mail that the server may have taken or not:
// the line was cut after all of it was sent. With any other error it was not
// taken.
var ErrUncertain = errors.New("the server did not say whether it took the mail")

// RefusedError is the server's no.
type RefusedError struct {
	Code    int  // of SMTP
	ForGood bool // trying again is of no use (RFC 5321, 4.2.1)
	err     error
}

func (e *RefusedError) Error() string { return "the mail server refused: " + e.err.Error() }
func (e *RefusedError) Unwrap() error { return e.err }

// Validate says what is wrong with the settings.
func (s *Server) Validate() error {
	if s.Host == "" || strings.ContainsAny(s.Host, " /:@") && net.ParseIP(s.Host) == nil {
		return fleet.Invalidf("mail server %q: want the name of a host", s.Host)
	}
	if _, ok := usualPorts[s.security()]; !ok {
		return fleet.Invalidf("mail security %q: want %s, %s or %s", s.Security, StartTLS, TLS, Clear)
	}
	if s.Port < 0 || s.Port > 65535 {
		return fleet.Invalidf("mail port %d: want 1 to 65535, or none", s.Port)
	}
	if _, err := netmail.ParseAddress(s.From); err != nil {
		return fleet.Invalidf("mail sender %q: want an address such as Brakes <brakes@example.org>", s.From)
	}
	if s.User != "" && s.security() == Clear {
		return fleet.Invalidf("mail security: a password is not sent in the clear; want %s or %s", StartTLS, TLS)
	}
	return nil
}

func (s *Server) security() string { return cmp.Or(s.Security, StartTLS) }

// ValidAddress returns an e-mail address as it is written to, or
// fleet.ErrInvalid.
func ValidAddress(address string) (string, error) {
	a, err := netmail.ParseAddress(strings.TrimSpace(address))
	if err != nil || a.Name != "" || strings.ContainsAny(a.Address, "\r\n") {
		return "", fleet.Invalidf("address %q: want an e-mail address such as ann@example.org", address)
	}
	return a.Address, nil
}

// Send hands m to the server. The error says whether it was taken: see
// ErrUncertain.
func (s *Server) Send(ctx context.Context, m Message) error {
	if err := s.Validate(); err != nil {
		return err
	}
	msg, err := s.compose(m)
	if err != nil {
		return err
	}
	timeout := cmp.Or(s.Timeout, DefaultTimeout)
	ctx, cancel := context.WithTimeout(ctx, stepsPerMail*timeout)
	defer cancel()
	line := &line{tls: s.tlsConfig(), immediate: s.security() == TLS}
	defer line.close() // the library leaves it open after some errors
	defer context.AfterFunc(ctx, line.close)()
	client, err := gomail.NewClient(s.Host, s.options(timeout, line)...)
	if err != nil {
		return fleet.Invalidf("mail server %s: %v", s.Host, err)
	}
	err = client.DialAndSendWithContext(ctx, msg)
	if err == nil || msg.IsDelivered() {
		return nil // whatever went wrong while parting
	}
	return verdict(err)
}

func (s *Server) options(timeout time.Duration, l *line) []gomail.Option {
	port := cmp.Or(s.Port, usualPorts[s.security()])
	opts := []gomail.Option{
		gomail.WithPort(port),
		gomail.WithTimeout(timeout),
		gomail.WithTLSConfig(s.tlsConfig()),
		gomail.WithDialContextFunc(l.dial),
		gomail.WithTLSPolicy(gomail.NoTLS),
	}
	if s.security() == StartTLS {
		opts = append(opts, gomail.WithTLSPolicy(gomail.TLSMandatory))
	}
	if s.User != "" {
		opts = append(opts,
			gomail.WithUsername(s.User),
			gomail.WithPassword(s.Password),
			gomail.WithOpportunisticSMTPAuth(gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin))
	}
	return opts
}

func (s *Server) tlsConfig() *tls.Config {
	return &tls.Config{ServerName: s.Host, RootCAs: s.Roots, MinVersion: tls.VersionTLS12}
}

// line is the connection to the server.
type line struct {
	tls       *tls.Config
	immediate bool

	mu   sync.Mutex
	conn net.Conn
}

func (l *line) dial(ctx context.Context, network, address string) (net.Conn, error) {
	var conn net.Conn
	var err error
	if l.immediate {
		conn, err = (&tls.Dialer{Config: l.tls}).DialContext(ctx, network, address)
	} else {
		conn, err = (&net.Dialer{}).DialContext(ctx, network, address)
	}
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conn = conn
	return conn, nil
}

func (l *line) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn != nil {
		l.conn.Close()
	}
}

// verdict turns the library's error into what it means for the mail.
func verdict(err error) error {
	var se *gomail.SendError
	if !errors.As(err, &se) {
		return fmt.Errorf("mail server: %w", err) // before there was a mail
	}
	if code := se.ErrorCode(); code >= 400 {
		return &RefusedError{Code: code, ForGood: code >= 500, err: se}
	}
	if se.Reason == gomail.ErrSMTPDataClose {
		// The last line, the lone dot, may have arrived.
		return fmt.Errorf("%w: %w", ErrUncertain, se)
	}
	return fmt.Errorf("mail server: %w", se)
}

// compose makes the mail as it is sent.
func (s *Server) compose(m Message) (*gomail.Msg, error) {
	from, err := netmail.ParseAddress(s.From)
	if err != nil {
		return nil, fleet.Invalidf("mail sender %q: %v", s.From, err)
	}
	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	msg.FromMailAddress(from)
	if err := msg.AddToFormat(m.ToName, m.To); err != nil {
		return nil, fleet.Invalidf("address %q: %v", m.To, err)
	}
	msg.Subject(m.Subject)
	msg.SetDateWithValue(m.Date)
	_, domain, _ := strings.Cut(from.Address, "@")
	msg.SetMessageIDWithValue(m.ID + "@" + domain)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834, 5: no out-of-office replies
	if m.ManageAddress != "" {
		msg.SetGenHeader("List-Unsubscribe", "<"+m.ManageAddress+">") // RFC 2369
	}
	msg.SetBodyString(gomail.TypeTextPlain, m.Text)
	msg.AddAlternativeString(gomail.TypeTextHTML, m.HTML)
	return msg, nil
}

// Address is where the server is, without what is secret.
func (s *Server) Address() string {
	return net.JoinHostPort(s.Host, strconv.Itoa(cmp.Or(s.Port, usualPorts[s.security()])))
}
