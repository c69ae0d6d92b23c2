package monitor

import (
	"context"
	"errors"
	"io"
	"net/http"
	"time"
)

const (
	// askFor is how long the database may take to answer before the process
	// counts as not ready: shorter than what balancers wait for (5 s and more).
	askFor = 2 * time.Second
	// answerHolds is how long an answer is good for, so that questions from
	// many sides do not become many questions to the database.
	answerHolds = time.Second
)

// question is one question to the database.
type question struct {
	done chan struct{}
	err  error     // once done
	at   time.Time // when it was answered
}

// health adds the two addresses. Who asks may be anybody: the answers are a
// word or two.
func (m *Monitor) health(mux *http.ServeMux) {
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		say(w, http.StatusOK, "alive")
	})
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		switch {
		case m.ending.Load():
			say(w, http.StatusServiceUnavailable, "ending")
		case m.reach(r.Context()) != nil:
			say(w, http.StatusServiceUnavailable, "the database does not answer")
		default:
			say(w, http.StatusOK, "ready")
		}
	})
}

func say(w http.ResponseWriter, status int, words string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.WriteHeader(status)
	io.WriteString(w, words+"\n")
}

// errNoAnswer: the database has had its time.
var errNoAnswer = errors.New("no answer in time")

// reach says whether the database answers. One question is on its way at a
// time, for a server that hangs may hold it, and its connection, for long.
func (m *Monitor) reach(ctx context.Context) error {
	q := m.ask()
	timeout := time.NewTimer(askFor)
	defer timeout.Stop()
	select {
	case <-q.done:
		return q.err
	case <-timeout.C:
		return errNoAnswer
	case <-ctx.Done():
		return ctx.Err()
	}
}

// ask returns the question on its way, an answer that still holds, or a new
// question.
func (m *Monitor) ask() *question {
	m.mu.Lock()
	defer m.mu.Unlock()
	if q := m.last; q != nil {
		select {
		case <-q.done:
			if time.Since(q.at) < answerHolds {
				return q
			}
		default:
			return q
		}
	}
	q := &question{done: make(chan struct{})}
	m.last = q
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), askFor)
		defer cancel()
		q.err = m.db.Answers(ctx)
		q.at = time.Now()
		close(q.done)
	}()
	return q
}
