package pipeline

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
)

const (
	// DigestAhead is how many days ahead of its book-by date an axle is told of
	// as due: time to find a day for it. The list of the pages goes further.
	DigestAhead = 14
	// digestSooner is by how many days a book-by date must come nearer for an
	// axle to be told of again; less is the forecast breathing.
	digestSooner = 7
	// digestFirst is how many days back a person's first digest looks.
	digestFirst = 7
	// digestTries is how often a day's digest is tried: once in each hour that
	// the job has.
	digestTries = 4
)

// DigestReport says what became of a round of digests.
type DigestReport struct {
	Sent      int
	Nothing   int // people with nothing new
	Failed    int // certainly not taken by the mail server
	Uncertain int // perhaps taken
	Before    int // people who had theirs already
}

// String says it to people.
func (r DigestReport) String() string {
	var parts []string
	for _, p := range []struct {
		n    int
		what string
	}{
		{r.Sent, "sent"}, {r.Nothing, "with nothing new"}, {r.Before, "seen to before"},
		{r.Failed, "failed"}, {r.Uncertain, "perhaps not taken by the mail server"},
	} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.what))
		}
	}
	if parts == nil {
		return "Nobody is to be told."
	}
	return "Digests: " + strings.Join(parts, ", ") + "."
}

// SendDigests tells each person whose depots are in a time zone, by e-mail,
// what became due, what moved and what was missed since the last time: once a
// day and at most once. A digest is claimed before it is sent, so that neither
// another process nor a restart sends it again. One that the mail server
// certainly did not take is tried again in the next hour; one that it may have
// taken is not, for what it told comes with the next day's.
func (s *Service) SendDigests(ctx context.Context, zone string) (rep DigestReport, err error) {
	rs, err := s.DB.Recipients(ctx, auth.AllFleets())
	if err != nil {
		return rep, err
	}
	zones, err := s.DB.TimeZones(ctx)
	if err != nil {
		return rep, err
	}
	day := fleet.DateOf(s.now().In(Zone(zone)))
	var last error
	for i := range rs {
		r := &rs[i]
		theirs, err := s.recipientZone(ctx, r, zones[0])
		if err != nil {
			return rep, err
		}
		if theirs != zone {
			continue
		}
		if s.Mail == nil {
			return rep, fleet.Invalidf("people are to be told, but no mail server is set: set BRAKEWEAR_SMTP_HOST and BRAKEWEAR_SMTP_FROM")
		}
		d, claimed, err := s.DB.ClaimDigest(ctx, r.ID, day, digestTries)
		if err != nil {
			return rep, err
		}
		if !claimed {
			rep.Before++
			continue
		}
		if err := s.sendDigest(ctx, r, d, zone, &rep); err != nil {
			last = fmt.Errorf("digest to %s: %w", r.Name, err)
		}
		if ctx.Err() != nil {
			return rep, ctx.Err()
		}
	}
	return rep, last
}

// recipientZone is the time zone of most of the depots that a person is told
// of; most is that of most of all.
func (s *Service) recipientZone(ctx context.Context, r *store.Recipient, most string) (string, error) {
	if r.Everything {
		return most, nil
	}
	ds, err := s.DB.Depots(ctx, r.Scope())
	if err != nil {
		return "", err
	}
	if len(ds) == 0 {
		return most, nil
	}
	return mostly(ds), nil
}

// sendDigest makes and sends a digest that was claimed, and keeps what became
// of it.
func (s *Service) sendDigest(ctx context.Context, r *store.Recipient, d store.Digest, zone string, rep *DigestReport) error {
	news, told, err := s.news(ctx, r, d, zone)
	state := store.DigestSent
	switch {
	case err != nil:
		state = store.DigestFailed
	case news.empty():
		state = store.DigestNothing
	default:
		err = s.post(ctx, r, d, news)
	}
	refused, no := errors.AsType[*mail.RefusedError](err)
	switch {
	case err == nil && state == store.DigestSent:
		rep.Sent++
	case err == nil:
		rep.Nothing++
	case errors.Is(err, mail.ErrUncertain):
		state = store.DigestUncertain
		rep.Uncertain++
	case no && refused.ForGood:
		state = store.DigestRefused
		rep.Failed++
	default:
		state = store.DigestFailed
		rep.Failed++
	}
	message := ""
	if err != nil {
		message = mailFault(err)
	}
	// What was sent was sent, though the program is to end.
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), keepTimeout)
	defer cancel()
	return errors.Join(err, s.DB.EndDigest(keep, d, state, message, told))
}

// keepTimeout bounds keeping what became of a digest.
const keepTimeout = 10 * time.Second

// mailFault says to people why a mail was not sent.
func mailFault(err error) string {
	refused, no := errors.AsType[*mail.RefusedError](err)
	switch {
	case errors.Is(err, mail.ErrUncertain):
		return "The mail server did not say whether it took it."
	case no:
		return fmt.Sprintf("The mail server refused it (%d).", refused.Code)
	case errors.Is(err, fleet.ErrInvalid):
		return err.Error()
	}
	return "The mail server could not be reached, or the database; the log says more."
}

// post sends a digest.
func (s *Service) post(ctx context.Context, r *store.Recipient, d store.Digest, n news) error {
	p := s.digestMail(r, d, n)
	text, html, err := p.render()
	if err != nil {
		return err
	}
	return s.Mail.Send(ctx, mail.Message{
		ID:            fmt.Sprintf("digest.%d.%d.%s", r.ID, r.AddedAt.UnixMicro(), d.Day),
		ToName:        r.Name,
		To:            r.Address,
		Subject:       p.Subject,
		Text:          text,
		HTML:          html,
		Date:          d.Until,
		ManageAddress: p.People,
	})
}

// link is the address of a page.
func (s *Service) link(path string) string { return strings.TrimSuffix(s.URL, "/") + path }

func digestJob(s *Service) Job {
	return Job{
		Name:    "digest",
		What:    "Tells people by e-mail what became due, what moved and what was missed. Once a day each; the later hours are for what the mail server did not take.",
		Spec:    "0 6-9 * * *",
		PerZone: true,
		After:   []string{"refit", "proposal"},
		Limit:   30 * time.Minute,
		Run: func(ctx context.Context, zone string) (string, error) {
			rep, err := s.SendDigests(ctx, zone)
			if err != nil && rep == (DigestReport{}) {
				return "", err
			}
			return rep.String(), err
		},
	}
}
