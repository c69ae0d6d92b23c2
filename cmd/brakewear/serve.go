package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"brakewear/api"
	"brakewear/dashboard"
	"brakewear/internal/fleet"
	"brakewear/internal/jobs"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

type serveCmd struct {
	database
	Listen string  `help:"Address to serve on." env:"BRAKEWEAR_LISTEN" default:"127.0.0.1:8080"`
	Risk   float64 `help:"Accepted chance of being past the limit on the book-by date." default:"0.05"`
}

func (c serveCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	ctx, cancel := context.WithCancel(e.ctx)
	scheduled := make(chan error, 1)
	go func() { scheduled <- jobs.Run(ctx, e.log, time.Local, schedule(e, svc)) }()
	err = serve(e, svc, c.Listen)
	cancel()
	return errors.Join(err, <-scheduled)
}

// schedule is the work done by the clock while brakewear serves.
func schedule(e *env, svc *pipeline.Service) []jobs.Job {
	return []jobs.Job{{
		Name: "refit",
		Spec: "0 3 * * *", // when nobody enters readings
		Run: func(ctx context.Context) error {
			_, err := svc.Refit(ctx, fleet.AllFleets(), nil, fleet.DateOf(e.now()))
			return err
		},
	}}
}

// Time limits of a request, so that a slow or stuck client frees its place.
const (
	headerTimeout = 10 * time.Second
	readTimeout   = 2 * time.Minute // a large file over a phone line
	writeTimeout  = 2 * time.Minute
	idleTimeout   = 2 * time.Minute
	drainTimeout  = 15 * time.Second // for requests in flight at the end
)

// serve serves until e.ctx ends, then lets the requests in flight finish.
func serve(e *env, svc *pipeline.Service, listen string) error {
	engine := web.NewEngine(e.log)
	pages, err := dashboard.New(svc)
	if err != nil {
		return err
	}
	pages.Register(engine)
	api.New(svc).Register(engine)
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	srv := &http.Server{
		Handler:           web.Protect(engine),
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		BaseContext:       func(net.Listener) context.Context { return context.WithoutCancel(e.ctx) },
	}
	fmt.Fprintf(e.stdout, "Serving on http://%s/ (Ctrl-C ends it)\n", l.Addr())
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-e.ctx.Done():
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(e.ctx), drainTimeout)
	defer cancel()
	err = srv.Shutdown(ctx)
	if serr := <-done; !errors.Is(serr, http.ErrServerClosed) {
		err = errors.Join(err, serr)
	}
	return err
}
