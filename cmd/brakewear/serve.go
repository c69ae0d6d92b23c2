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
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

type serveCmd struct {
	database
	scheduled
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
	if err := c.scheduled.set(e, svc); err != nil {
		return err
	}
	return serve(e, svc, c.Listen)
}

// Time limits of a request, so that a slow or stuck client frees its place.
const (
	headerTimeout = 10 * time.Second
	readTimeout   = 2 * time.Minute // a large file over a phone line
	writeTimeout  = 2 * time.Minute
	idleTimeout   = 2 * time.Minute
	drainTimeout  = 15 * time.Second // for requests in flight at the end
)

// serve serves, and does the scheduled work, until e.ctx ends; then it lets the
// requests in flight finish.
func serve(e *env, svc *pipeline.Service, listen string) (err error) {
	engine := web.NewEngine(e.log)
	pages, err := dashboard.New(svc)
	if err != nil {
		return err
	}
	pages.Register(engine)
	api.New(svc).Register(engine)
	desk := pipeline.OpenDesk(context.WithoutCancel(e.ctx), svc, e.log)
	defer desk.Close()
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
	ctx, cancel := context.WithCancel(e.ctx)
	scheduled := make(chan error, 1)
	go func() { scheduled <- e.clock(svc).Run(ctx) }()
	defer func() {
		cancel()
		err = errors.Join(err, <-scheduled)
	}()
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-e.ctx.Done():
	}
	drain, stop := context.WithTimeout(context.WithoutCancel(e.ctx), drainTimeout)
	defer stop()
	err = srv.Shutdown(drain)
	if serr := <-done; !errors.Is(serr, http.ErrServerClosed) {
		err = errors.Join(err, serr)
	}
	return err
}
