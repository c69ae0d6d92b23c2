package mail_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"go.uber.org/goleak"

	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/mail/mailtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// sample is an invented mail.
func sample() mail.Message {
	return mail.Message{
		ID: "digest.7.2026-03-02", ToName: "Örn Ünal, Planer", To: "orn@island.example", Subject: "3 axles became due – Hafen",
		Text: "Bus 1: pads\n.\nübermorgen\n", HTML: "<p>Bus 1: <b>pads</b> übermorgen</p>",
		Date: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC), ManageAddress: "https://brakes.example/people",
	}
}

// parts reads a mail by the standard library: its headers, and its bodies by
// type.
func parts(t *testing.T, body string) (netmail.Header, map[string]string) {
	t.Helper()
	m, err := netmail.ReadMessage(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("got %s, %v", kind, err)
	}
	found := map[string]string{}
	for r := multipart.NewReader(m.Body, params["boundary"]); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return m.Header, found
		}
		if err != nil {
			t.Fatal(err)
		}
		var text bytes.Buffer
		if _, err := io.Copy(&text, quotedprintable.NewReader(p)); err != nil {
			t.Fatal(err)
		}
		found[p.Header.Get("Content-Type")] = strings.ReplaceAll(text.String(), "\r\n", "\n")
	}
}

func TestSend(t *testing.T) {
	for _, c := range []struct {
		name   string
		opt    mailtest.Options
		secure bool
	}{
		{"STARTTLS", mailtest.Options{}, true},
		{"STARTTLS and sign-in", mailtest.Options{Security: mail.StartTLS, User: "brakes", Password: "pass word"}, true},
		{"TLS", mailtest.Options{Security: mail.TLS}, true},
		{"TLS and sign-in", mailtest.Options{Security: mail.TLS, User: "brakes", Password: "pass word"}, true},
		{"in the clear", mailtest.Options{Security: mail.Clear}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			srv := mailtest.Start(t, c.opt)
			if err := srv.Send(t.Context(), sample()); err != nil {
				t.Fatal(err)
			}
			got := srv.Received()
			if len(got) != 1 || got[0].From != "brakes@island.example" || got[0].To != "orn@island.example" || got[0].TLS != c.secure || got[0].User != c.opt.User {
				t.Fatalf("got %+v", got)
			}
			head, body := parts(t, got[0].Body)
			for name, want := range map[string]string{
				"Message-Id": "<digest.7.2026-03-02@island.example>", "Auto-Submitted": "auto-generated", "Date": "Mon, 02 Mar 2026 06:00:00 +0000",
				"List-Unsubscribe": "<https://brakes.example/people>", "From": `"Brakes" <brakes@island.example>`, "User-Agent": "", "X-Mailer": "",
			} {
				if head.Get(name) != want {
					t.Errorf("%s: got %q, want %q", name, head.Get(name), want)
				}
			}
			if subject, err := new(mime.WordDecoder).DecodeHeader(head.Get("Subject")); err != nil || subject != sample().Subject {
				t.Errorf("Subject: got %q, %v", subject, err)
			}
			if to, err := head.AddressList("To"); err != nil || len(to) != 1 || to[0].Name != sample().ToName {
				t.Errorf("To: got %v, %v", to, err)
			}
			if got := body["text/plain; charset=UTF-8"]; got != sample().Text {
				t.Errorf("text: got %q", got)
			}
			if got := body["text/html; charset=UTF-8"]; got != sample().HTML {
				t.Errorf("HTML: got %q", got)
			}
		})
	}
}

// Each way to fail, with what it means for whoever wants to try again.
func TestSendFails(t *testing.T) {
	full := &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 2, 2}, Message: "mailbox full"}
	unknown := &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such person"}
	for _, c := range []struct {
		name      string
		opt       mailtest.Options
		change    func(s *mail.Server)
		refused   int // code; 0 = not by the server
		forGood   bool
		uncertain bool
		taken     int
	}{
		{name: "mailbox full", opt: mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": full}}, refused: 452},
		{name: "nobody there", opt: mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": unknown}}, refused: 550, forGood: true},
		{name: "sender unwanted", opt: mailtest.Options{Refuse: map[string]*smtp.SMTPError{"mail": unknown}}, refused: 550, forGood: true},
		{name: "content refused", opt: mailtest.Options{Refuse: map[string]*smtp.SMTPError{"data": unknown}}, refused: 550, forGood: true},
		{name: "content refused for now", opt: mailtest.Options{Refuse: map[string]*smtp.SMTPError{"data": full}}, refused: 452},
		{name: "line cut before the mail", opt: mailtest.Options{Drop: "rcpt"}},
		{name: "line cut after the mail", opt: mailtest.Options{Drop: "data"}, uncertain: true, taken: 1},
		{name: "never greets", opt: mailtest.Options{Hang: "greet"}},
		{name: "stops before the mail", opt: mailtest.Options{Hang: "rcpt"}},
		{name: "never says it took it", opt: mailtest.Options{Hang: "data"}, uncertain: true, taken: 1},
		{name: "certificate of a stranger", opt: mailtest.Options{Foreign: true}},
		{name: "certificate of a stranger, TLS", opt: mailtest.Options{Security: mail.TLS, Foreign: true}},
		{name: "no STARTTLS there", opt: mailtest.Options{Security: mail.Clear}, change: func(s *mail.Server) { s.Security = mail.StartTLS }},
		{name: "wrong password", opt: mailtest.Options{User: "brakes", Password: "right"}, change: func(s *mail.Server) { s.Password = "wrong" }},
		{name: "nobody listens", change: func(s *mail.Server) { s.Port = unused(t) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			srv := mailtest.Start(t, c.opt)
			srv.Timeout = 300 * time.Millisecond
			if c.change != nil {
				c.change(&srv.Server)
			}
			start := time.Now()
			err := srv.Send(t.Context(), sample())
			if err == nil {
				t.Fatal("it was sent")
			}
			if took := time.Since(start); took > 5*time.Second {
				t.Errorf("took %v", took)
			}
			var refused *mail.RefusedError
			if errors.As(err, &refused) != (c.refused != 0) || refused != nil && (refused.Code != c.refused || refused.ForGood != c.forGood) {
				t.Errorf("got %v (%+v), want code %d, for good %v", err, refused, c.refused, c.forGood)
			}
			if errors.Is(err, mail.ErrUncertain) != c.uncertain {
				t.Errorf("got %v, want uncertain: %v", err, c.uncertain)
			}
			if got := len(srv.Received()); got != c.taken {
				t.Errorf("the server has %d mails, want %d", got, c.taken)
			}
			if c.opt.Password != "" && strings.Contains(err.Error(), srv.Password) {
				t.Errorf("the error tells the password: %v", err)
			}
		})
	}
}

// unused returns a port that nobody listens on.
func unused(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// A sender that is told to stop does not wait for the server.
func TestSendEndsWithItsContext(t *testing.T) {
	srv := mailtest.Start(t, mailtest.Options{Hang: "rcpt"})
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	start := time.Now()
	if err := srv.Send(ctx, sample()); err == nil {
		t.Error("it was sent")
	}
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("took %v", took)
	}
}

// Nothing that people type becomes a header of its own.
func TestSendForgesNothing(t *testing.T) {
	srv := mailtest.Start(t, mailtest.Options{})
	for _, change := range []func(m *mail.Message){
		func(m *mail.Message) { m.Subject = "late\r\nBcc: all@island.example\r\n\r\nHello" },
		func(m *mail.Message) { m.ToName = "Ann\r\nBcc: all@island.example" },
		func(m *mail.Message) { m.ID = "a\r\nBcc: all@island.example\r\nX: " },
	} {
		m := sample()
		change(&m)
		before := len(srv.Received())
		if err := srv.Send(t.Context(), m); err != nil {
			continue // as good
		}
		head, _ := parts(t, srv.Received()[before].Body)
		if head.Get("Bcc") != "" {
			t.Errorf("got %v", head)
		}
	}
	if len(srv.Received()) == 0 {
		t.Error("nothing was sent; the test shows nothing")
	}
}

func TestValidate(t *testing.T) {
	good := mail.Server{Host: "mail.island.example", From: "Brakes <brakes@island.example>"}
	if err := good.Validate(); err != nil || good.Address() != "mail.island.example:587" {
		t.Errorf("got %v, %s", err, good.Address())
	}
	for want, change := range map[string]func(s *mail.Server){
		"name of a host": func(s *mail.Server) { s.Host = "smtp://mail" },
		"starttls, tls":  func(s *mail.Server) { s.Security = "ssl" },
		"1 to 65535":     func(s *mail.Server) { s.Port = 70000 },
		"an address":     func(s *mail.Server) { s.From = "nobody" },
		"in the clear":   func(s *mail.Server) { s.User, s.Security = "brakes", mail.Clear },
	} {
		s := good
		change(&s)
		if err := s.Validate(); !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	for address, want := range map[string]string{
		" ann@island.example ": "ann@island.example", "Ann <ann@island.example>": "", "ann": "", "": "", "ann@x\r\ny": "", "a@b, c@d": "",
	} {
		if got, err := mail.ValidAddress(address); got != want || (err == nil) != (want != "") {
			t.Errorf("%q: got %q, %v", address, got, err)
		}
	}
}
