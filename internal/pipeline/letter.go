package pipeline

import (
	"context"
	"errors"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/mail"
)

const (
	// maxLetters is how many mails that a person waits for are under way at a
	// time, the ones that wait to be tried again with them: few people forget a
	// password at once, and a mail server takes a few lines from one sender
	// (common practice, no source).
	maxLetters = 32
	// letterGrace is what such a mail gets when the program is to end.
	letterGrace = 10 * time.Second
)

// letterPauses lie between the tries of a mail that the server did not take:
// who waits for it waits for minutes, not hours.
var letterPauses = []time.Duration{5 * time.Second, 30 * time.Second, 2 * time.Minute}

// letter has fn find out what to write to whom, and send it, behind the
// request, which so takes the same time whether there is somebody to write to.
// What becomes of it the log says. Without a desk the request waits.
func (d *Desk) letter(ctx context.Context, what string, fn func(context.Context) error) error {
	if d == nil {
		return fn(ctx)
	}
	select {
	case d.letters <- struct{}{}:
	default:
		return &fleet.WaitError{For: time.Minute, Why: "Many mails wait to be sent just now: try again in a minute."}
	}
	begun := d.start(func() {
		defer func() { <-d.letters }()
		ctx, cancel := context.WithCancel(context.WithoutCancel(d.ctx))
		defer cancel()
		defer context.AfterFunc(d.ctx, func() { time.AfterFunc(d.grace, cancel) })()
		d.report(what, fn(ctx))
	})
	if !begun {
		<-d.letters
		return fn(ctx)
	}
	return nil
}

// sendLetter sends m; on a desk again, where the server did not take it now
// and may later.
func (s *Service) sendLetter(ctx context.Context, m mail.Message) error {
	var pauses []time.Duration
	var ending <-chan struct{}
	if s.Desk != nil {
		pauses, ending = s.Desk.pauses, s.Desk.ctx.Done()
	}
	for i := 0; ; i++ {
		err := s.Mail.Send(ctx, m)
		refused, no := errors.AsType[*mail.RefusedError](err)
		if err == nil || i == len(pauses) || errors.Is(err, mail.ErrUncertain) || no && refused.ForGood {
			return err
		}
		s.Desk.log.Warn("a mail was not taken, and is tried again", "error", err, "in", pauses[i])
		pause := time.NewTimer(pauses[i])
		select {
		case <-pause.C:
		case <-ending:
			pause.Stop()
			return err
		}
	}
}
