package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"syscall"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/api"
	"brakewear/dashboard"
	"brakewear/internal/fleet"
	"brakewear/internal/monitor"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

type serveCmd struct {
	database
	scheduled
	listening
	elsewhere
	second
	accepted
}

// listening are the settings of addresses.
type listening struct {
	Listen           string        `help:"Address to serve on." env:"BRAKEWEAR_LISTEN" default:"127.0.0.1:8080" placeholder:"HOST:PORT"`
	MonitorListen    string        `help:"Address of its own for /metrics, /healthz and /readyz, which anybody who reaches it may read; none unless given." env:"BRAKEWEAR_MONITOR_LISTEN" placeholder:"HOST:PORT"`
	TrustedProxies   []string      `help:"Networks of the proxies in front, which are believed whom a request comes from (X-Forwarded-For) and whether over TLS (X-Forwarded-Proto); nobody is unless given." env:"BRAKEWEAR_TRUSTED_PROXIES" sep:"," placeholder:"NETWORK,…"`
	FilesPerMinute   int           `help:"How many files one account may send a minute, ten times as many all from one address; 0 is no bound." env:"BRAKEWEAR_FILES_PER_MINUTE" default:"${files}" placeholder:"N"`
	ChangesPerMinute int           `help:"How many other changes one account may send a minute, counted alike." env:"BRAKEWEAR_CHANGES_PER_MINUTE" default:"${changes}" placeholder:"N"`
	ShutdownDelay    time.Duration `help:"How long to go on serving when told to end, while /readyz says no already, so that a balancer turns away first." env:"BRAKEWEAR_SHUTDOWN_DELAY" default:"0s"`
}

func (c serveCmd) Help() string {
	return `Examples:
  brakewear serve --database fleet.db
  brakewear serve --listen 0.0.0.0:8080 --monitor-listen 127.0.0.1:9464 --url https://brakes.example.org`
}

func (c serveCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	if c.ShutdownDelay < 0 {
		return fleet.Invalidf("shutdown delay %v: want none or more", c.ShutdownDelay)
	}
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	svc.Clock = new(pipeline.Clock)
	svc.HomeZone(e.ctx)
	if err := c.scheduled.set(e, svc); err != nil {
		return err
	}
	if err := c.elsewhere.set(e, svc); err != nil {
		return err
	}
	if err := c.second.set(e, svc); err != nil {
		return err
	}
	return serve(e, svc, c.listening, nil)
}

// routes returns the pages and the API over svc.
func routes(e *env, svc *pipeline.Service, mon *monitor.Monitor, at listening, accounts []dashboard.DemoAccount) (*gin.Engine, error) {
	engine := web.NewEngine(e.log, mon.Request)
	proxies, err := web.ParseProxies(at.TrustedProxies)
	if err != nil {
		return nil, err
	}
	web.TrustProxies(engine, proxies)
	pages, err := dashboard.New(svc)
	if err != nil {
		return nil, err
	}
	pages.Demo = accounts
	web.UseErrorPage(engine, pages.ErrorPage)
	if at.FilesPerMinute < 0 || at.ChangesPerMinute < 0 {
		return nil, fleet.Invalidf("a bound of what may be sent in a minute: want 0 for none, or more")
	}
	engine.Use(web.Guard(svc.DB), web.Pace{Files: at.FilesPerMinute, Changes: at.ChangesPerMinute}.Keep(time.Now))
	pages.Register(engine)
	api.New(svc).Register(engine)
	return engine, nil
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
// requests in flight finish. The page to sign in offers the accounts to
// everybody.
func serve(e *env, svc *pipeline.Service, at listening, accounts []dashboard.DemoAccount) (err error) {
	mon := monitor.New(svc.DB, programVersion(), e.log)
	engine, err := routes(e, svc, mon, at, accounts)
	if err != nil {
		return err
	}
	handler := web.Protect(engine)
	if strings.HasPrefix(svc.URL, "https://") {
		handler = web.OverTLS(handler)
	}
	first, err := svc.FirstAccount(e.ctx)
	if errors.Is(err, fleet.ErrReadOnly) || errors.Is(err, fleet.ErrFull) {
		e.log.Warn("what is there can be read, and nothing stored", "error", err)
	} else if err != nil {
		return err
	}
	desk := pipeline.OpenDesk(context.WithoutCancel(e.ctx), svc, e.log)
	defer desk.Close()
	l, err := listenOn("--listen", at.Listen)
	if err != nil {
		return err
	}
	if at.MonitorListen != "" {
		end, err := watch(e, at.MonitorListen, mon)
		if err != nil {
			return errors.Join(err, l.Close())
		}
		defer end()
	}
	fmt.Fprintf(e.stdout, "Serving on http://%s/ (Ctrl-C ends it)\n", l.Addr())
	if first != "" {
		fmt.Fprintf(e.stdout, "Nobody can sign in yet. Open this once, within a day, and choose a password for the first account:\n%s%s\n",
			cmp.Or(strings.TrimSuffix(svc.URL, "/"), "http://"+l.Addr().String()), first)
	}
	ctx, cancel := context.WithCancel(e.ctx)
	scheduled := make(chan error, 1)
	go func() { scheduled <- e.clock(svc).Run(ctx) }()
	warm := make(chan struct{})
	go func() {
		defer close(warm)
		svc.KeepDueWarm(ctx, e.log)
	}()
	defer func() {
		cancel()
		<-warm
		err = errors.Join(err, <-scheduled)
	}()
	return serveUntil(e.ctx, l, mon.Over(handler), mon.Ending, at.ShutdownDelay)
}

// listenOn listens on the address that a flag gives.
func listenOn(flag, address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	switch {
	case err == nil:
		return l, nil
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("%s %s: another program serves there: end it, or give another port", flag, address)
	case errors.Is(err, syscall.EACCES):
		return nil, fmt.Errorf("%s %s: this user may not serve there: give a port from 1024 on", flag, address)
	}
	return nil, fleet.Invalidf("%s %s: want HOST:PORT of this machine, such as 127.0.0.1:8080 (%v)", flag, address, err)
}

// newServer returns a server whose requests outlive ctx.
func newServer(ctx context.Context, h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		BaseContext:       func(net.Listener) context.Context { return context.WithoutCancel(ctx) },
	}
}

// serveUntil serves h on l until ctx ends; then it says so by ending, goes on
// for a while, takes no more and lets the requests in flight finish.
func serveUntil(ctx context.Context, l net.Listener, h http.Handler, ending func(), delay time.Duration) error {
	srv := newServer(ctx, h)
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	ending()
	select {
	case err := <-done:
		return err
	case <-time.After(delay):
	}
	drain, stop := context.WithTimeout(context.WithoutCancel(ctx), drainTimeout)
	defer stop()
	err := srv.Shutdown(drain)
	if serr := <-done; !errors.Is(serr, http.ErrServerClosed) {
		err = errors.Join(err, serr)
	}
	return err
}

// watch serves what there is to know of the process until end, which is when
// all else has ended.
func watch(e *env, listen string, mon *monitor.Monitor) (end func(), err error) {
	l, err := listenOn("--monitor-listen", listen)
	if err != nil {
		return nil, err
	}
	srv := newServer(e.ctx, mon.Handler())
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	e.log.Info("monitoring", "address", "http://"+l.Addr().String()+"/metrics")
	return func() {
		srv.Close()
		if err := <-done; !errors.Is(err, http.ErrServerClosed) {
			e.log.Error("monitoring", "error", err)
		}
	}, nil
}
