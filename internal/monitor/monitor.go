// Package monitor tells those who watch over a process how it is: whether it
// lives, whether it can do its work, and figures in the format that Prometheus
// reads. It changes nothing, and says nothing of any fleet's data.
package monitor

import (
	"log/slog"
	"net/http"
	"strconv"
	"sync"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// Monitor watches one process over one database.
type Monitor struct {
	db     *store.DB
	log    *slog.Logger
	ending atomic.Bool

	registry *prometheus.Registry
	requests *prometheus.CounterVec
	latency  *prometheus.HistogramVec
	inFlight prometheus.Gauge
	uploads  *prometheus.CounterVec
	rows     *prometheus.CounterVec

	mu   sync.Mutex
	last *question // asked of the database last
}

// latencyBuckets in seconds: from a static file to the end of a large upload.
var latencyBuckets = []float64{.001, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30, 120}

// New returns a Monitor of a process of this version on db, and has db tell it
// of uploads. It is called before db is shared.
func New(db *store.DB, version string, log *slog.Logger) *Monitor {
	m := &Monitor{
		db:       db,
		log:      log,
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "brakewear_requests_total",
			Help: "Requests answered, by route, method and status.",
		}, []string{"route", "method", "status"}),
		latency: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "brakewear_request_seconds",
			Help:    "Time from a request's header to the end of its answer, by route and method.",
			Buckets: latencyBuckets,
		}, []string{"route", "method"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "brakewear_requests_in_flight",
			Help: "Requests that are being answered.",
		}),
		uploads: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "brakewear_uploads_total",
			Help: "Files and forms that this process took in, or failed to, by what is in them.",
		}, []string{"kind", "result"}),
		rows: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "brakewear_upload_rows_total",
			Help: "Rows of the uploads taken in: accepted, refused, or repeated, which were there already.",
		}, []string{"kind", "result"}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name:        "brakewear_build_info",
		Help:        "1, with the version that runs.",
		ConstLabels: prometheus.Labels{"version": version},
	})
	build.Set(1)
	m.registry.MustRegister(m.requests, m.latency, m.inFlight, m.uploads, m.rows, build, databaseCollector{m},
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	db.Taken = m.upload
	return m
}

// methods that are told apart; others are anything that somebody thought of.
var methods = map[string]bool{http.MethodGet: true, http.MethodHead: true, http.MethodPost: true,
	http.MethodPut: true, http.MethodPatch: true, http.MethodDelete: true, http.MethodOptions: true}

// Request counts an answered request.
func (m *Monitor) Request(r web.Answered) {
	route, method := r.Route, r.Method
	if route == "" {
		route = "none"
	}
	if !methods[method] {
		method = "other"
	}
	m.requests.WithLabelValues(route, method, strconv.Itoa(r.Status)).Inc()
	m.latency.WithLabelValues(route, method).Observe(r.Took.Seconds())
}

// upload counts an upload that came to its end.
func (m *Monitor) upload(up *fleet.Upload, err error) {
	if err != nil {
		m.uploads.WithLabelValues(up.Kind, "failed").Inc()
		return
	}
	m.uploads.WithLabelValues(up.Kind, "taken").Inc()
	m.rows.WithLabelValues(up.Kind, "accepted").Add(float64(up.Accepted))
	m.rows.WithLabelValues(up.Kind, "refused").Add(float64(up.Refused))
	m.rows.WithLabelValues(up.Kind, "repeated").Add(float64(up.Repeated))
}

// Ending makes the process not ready from here on.
func (m *Monitor) Ending() { m.ending.Store(true) }

// Over answers questions after the process's health, and counts and hands on
// to h all others.
func (m *Monitor) Over(h http.Handler) http.Handler {
	mux := http.NewServeMux()
	m.health(mux)
	mux.Handle("/", promhttp.InstrumentHandlerInFlight(m.inFlight, h))
	return mux
}

// maxScrapes bounds how many may read the figures at a time.
const maxScrapes = 4

// Handler answers at an address of its own, which is for those who run the
// process alone.
func (m *Monitor) Handler() http.Handler {
	mux := http.NewServeMux()
	m.health(mux)
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		ErrorLog:            slog.NewLogLogger(m.log.Handler(), slog.LevelError),
		ErrorHandling:       promhttp.ContinueOnError,
		MaxRequestsInFlight: maxScrapes,
	}))
	return mux
}
