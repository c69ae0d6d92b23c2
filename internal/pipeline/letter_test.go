package pipeline_test

import (
	"bytes"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail/mailtest"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// heard is a log that several write to.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

const (
	ann     = "ann@island.example"
	stopped = "ben@island.example" // had an account
	nobody  = "nobody@island.example"
)

// letters is a desk that sends links, over a mail server with opt.
func letters(t *testing.T, db *store.DB, opt mailtest.Options) (*pipeline.Service, *mailtest.Server, *heard) {
	t.Helper()
	srv := mailtest.Start(t, opt)
	s := newService(db)
	s.URL, s.Mail = "https://brakes.example", &srv.Server
	for _, a := range []store.Account{{Name: "Ann", Email: ann}, {Name: "Ben", Email: stopped}, {Name: "Ada", Email: "ada@island.example"}} {
		a.Grants = []store.Grant{{Role: auth.Admin}}
		if _, err := s.AddAccount(t.Context(), all, "test", &a); err != nil {
			t.Fatal(err)
		}
		if a.Email == stopped {
			if err := db.StopAccount(t.Context(), all, "test", a.ID); err != nil {
				t.Fatal(err)
			}
		}
	}
	log := &heard{}
	d := pipeline.OpenDesk(t.Context(), s, slog.New(slog.NewTextHandler(log, nil)))
	d.SetLetters(32, []time.Duration{time.Millisecond, time.Millisecond}, 10*time.Second)
	t.Cleanup(d.Close)
	return s, srv, log
}

// A mail server that never answers holds up nobody: whoever asks for a link
// hears the same, as soon, with an account and without.
func TestMailLinkDoesNotWait(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, srv, log := letters(t, db, mailtest.Options{Hang: "rcpt"})
		s.Desk.SetLetters(4, nil, time.Millisecond)
		for _, email := range []string{ann, nobody, stopped, ann} {
			done := make(chan error, 1)
			go func() { done <- s.MailLink(t.Context(), email, "10.0.0.1") }()
			select {
			case err := <-done:
				if err != nil {
					t.Errorf("%s: %v", email, err)
				}
			case <-time.After(srv.Timeout / 2): // the server would hold it for as long as that
				t.Fatalf("%s: waits for the mail server", email)
			}
		}
		// No more room than for four, whoever asks. Nobody's takes some for a
		// moment only.
		for s.Desk.Letters() > 2 {
			time.Sleep(time.Millisecond)
		}
		for range 2 {
			if err := s.MailLink(t.Context(), "ada@island.example", "10.0.0.1"); err != nil {
				t.Fatal(err)
			}
		}
		known, unknown := s.MailLink(t.Context(), "ada@island.example", "10.0.0.2"), s.MailLink(t.Context(), nobody, "10.0.0.2")
		if _, wait := errors.AsType[*fleet.WaitError](known); !wait || unknown == nil || known.Error() != unknown.Error() {
			t.Errorf("got %v with an account and %v without, want to wait and the same", known, unknown)
		}
		began := time.Now()
		s.Desk.Close()
		if took := time.Since(began); took > srv.Timeout/2 {
			t.Errorf("closing took %v", took)
		}
		if strings.Contains(log.String(), pipeline.LinkPath) {
			t.Errorf("the log has the secret: %s", log)
		}
	})
}

// What was asked for before the end is sent all the same.
func TestMailLinkAtTheEnd(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, srv, log := letters(t, db, mailtest.Options{})
		for _, email := range []string{ann, nobody, stopped} {
			if err := s.MailLink(t.Context(), email, "10.0.0.1"); err != nil {
				t.Errorf("%s: %v", email, err)
			}
		}
		s.Desk.Close()
		got := srv.Received()
		if len(got) != 1 || got[0].To != ann {
			t.Fatalf("got %+v, want one mail to Ann; log %s", got, log)
		}
		if !strings.Contains(got[0].Body, "https://brakes.example"+pipeline.LinkPath) {
			t.Errorf("no link in %s", got[0].Body)
		}
	})
}

// A mail that the server does not take now is tried again; one that it will
// never take is not. Both are logged.
func TestMailLinkIsTriedAgain(t *testing.T) {
	now, never := &smtp.SMTPError{Code: 450, Message: "busy"}, &smtp.SMTPError{Code: 550, Message: "no such mailbox"}
	for name, c := range map[string]struct {
		opt           mailtest.Options
		sent, refused int
		logged        string
	}{
		"busy twice": {mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": now}, RefuseTimes: 2}, 1, 3, "tried again"},
		"busy":       {mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": now}}, 0, 3, `level=ERROR msg="mail a link`},
		"never":      {mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": never}}, 0, 1, `level=ERROR msg="mail a link`},
	} {
		t.Run(name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				s, srv, log := letters(t, db, c.opt)
				if err := s.MailLink(t.Context(), ann, "10.0.0.1"); err != nil {
					t.Fatal(err)
				}
				for end := time.Now().Add(30 * time.Second); time.Now().Before(end) && (len(srv.Received()) < c.sent || srv.Refused() < c.refused); {
					time.Sleep(5 * time.Millisecond)
				}
				s.Desk.Close()
				if got := len(srv.Received()); got != c.sent || srv.Refused() != c.refused {
					t.Errorf("%d sent after %d tries, want %d after %d", got, srv.Refused(), c.sent, c.refused)
				}
				if !strings.Contains(log.String(), c.logged) {
					t.Errorf("log: got %q, want %q in it", log, c.logged)
				}
			})
		})
	}
}
