package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

// MaxBody bounds the body of a request that did not ask for more by AllowBody:
// a form or a JSON document, not a file.
const MaxBody = 1 << 20

// MaxFile bounds an uploaded file: some five million readings as CSV, more than
// any workshop measures in a year. A handler asks for it by AllowBody.
const MaxFile = 256 << 20

// RequestTime is how long a request may take whose route is not one of the long
// ones: what it asks of the database ends then, and it is answered 503. A page
// takes milliseconds, and the slowest list of a large fleet a second.
const RequestTime = 15 * time.Second

// FileTime is for requests that bring or fetch a file, or work on a whole fleet. The
// server closes the connection a little later.
const FileTime = 110 * time.Second

// bodyGrace is how much longer the line to the client may be read, so that
// what the request asked of the database has ended by then and been answered.
const bodyGrace = 2 * time.Second

// formMemory is how much of an uploaded file is held in memory; the rest goes
// to a temporary file.
const formMemory = 4 << 20

// NewEngine returns a gin engine with all that every request goes through:
// request id, access log, recovery, security headers, body limit, and answers
// for paths that lead nowhere. Those of seen are told of every answer.
func NewEngine(log *slog.Logger, seen ...func(Answered)) *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	r := gin.New()
	r.HandleMethodNotAllowed = true
	r.MaxMultipartMemory = formMemory
	r.RemoteIPHeaders = []string{"X-Forwarded-For"} // the one that proxies add to
	// Until TrustProxies names some, the word of none on the client is worth
	// anything.
	if err := r.SetTrustedProxies(nil); err != nil {
		panic(err) // no proxies cannot be malformed
	}
	r.Use(accessLog(log, seen), securityHeaders, recovery, limitBody, limitTime, readForm)
	r.NoRoute(Handle(func(*gin.Context) error {
		return &StatusError{http.StatusNotFound, "There is nothing at this address."}
	}))
	r.NoMethod(Handle(func(c *gin.Context) error {
		return &StatusError{http.StatusMethodNotAllowed, "This address does not take a " + c.Request.Method + "."}
	}))
	return r
}

// Protect refuses requests that change something and were sent by a page of
// another origin, and answers HEAD like GET.
func Protect(h http.Handler) http.Handler {
	p := http.NewCrossOriginProtection()
	p.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		http.Error(w, "This was sent by a page of another site, which may change nothing here. Open the form on this site and send it again.", http.StatusForbidden)
	}))
	return p.Handler(headAsGet(h))
}

// headAsGet asks h for what a GET would get; the server leaves the body out.
func headAsGet(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			get := *r
			get.Method = http.MethodGet
			r = &get
		}
		h.ServeHTTP(w, r)
	})
}

const (
	requestKey = "web.request"
	loggerKey  = "web.logger"
	bodyKey    = "web.body"
	wholeKey   = "web.whole"
)

// RequestID returns the id by which the log knows this request.
func RequestID(c *gin.Context) string { return c.GetString(requestKey) }

func logger(c *gin.Context) *slog.Logger {
	if l, ok := c.Value(loggerKey).(*slog.Logger); ok {
		return l
	}
	return slog.Default()
}

// SecretPath is where calendars lie, whose address is their only key.
const SecretPath = "/calendar/"

// secretPaths are where addresses lie that are a secret to whoever knows them.
var secretPaths = []string{SecretPath, "/link/"}

// loggedPath is what the log may say of the path of a request.
func loggedPath(c *gin.Context) string {
	// However it was typed: a wrong address may hold the right secret.
	path := c.Request.URL.Path
	for _, secret := range secretPaths {
		if i := strings.Index(strings.ToLower(path), secret); i >= 0 && i < len(path) {
			return path[:i] + secret + "…"
		}
	}
	return path
}

// Answered is one request that was answered.
type Answered struct {
	Route  string // its pattern, such as /vehicles/:id; blank: it led nowhere
	Method string
	Status int
	Took   time.Duration
}

// accessLog gives the request its id and logs one line when it is done. The
// query is left out: it holds what people search for.
func accessLog(log *slog.Logger, seen []func(Answered)) gin.HandlerFunc {
	return func(c *gin.Context) {
		start := time.Now()
		id := rand.Text()[:12]
		c.Set(requestKey, id)
		c.Set(loggerKey, log)
		c.Header("X-Request-Id", id)
		defer func() {
			took := time.Since(start)
			for _, tell := range seen {
				tell(Answered{Route: c.FullPath(), Method: c.Request.Method, Status: c.Writer.Status(), Took: took})
			}
			log.LogAttrs(context.WithoutCancel(c.Request.Context()), slog.LevelInfo, "request",
				slog.String("method", c.Request.Method),
				slog.String("path", loggedPath(c)),
				slog.String("client", Client(c)),
				slog.Int("status", c.Writer.Status()),
				slog.Int("bytes", max(0, c.Writer.Size())),
				slog.Duration("took", took.Round(time.Microsecond)),
				slog.String("request", id))
		}()
		c.Next()
	}
}

// contentPolicy lets a page load from its own origin only, and nothing inline:
// a text that found its way into a page unescaped still cannot act.
const contentPolicy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; " +
	"connect-src 'self'; font-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func securityHeaders(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", contentPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	// A fleet's data stay out of caches; static files say otherwise.
	h.Set("Cache-Control", "no-store")
}

// recovery answers a panic like any error of ours, with its stack in the log.
func recovery(c *gin.Context) {
	defer func() {
		v := recover()
		if v == nil {
			return
		}
		if err, ok := v.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(v) // the line is to be cut
		}
		logger(c).Error("panic", "value", fmt.Sprint(v), "request", RequestID(c), "stack", string(debug.Stack()))
		answer(c, fmt.Errorf("panic: %v", v))
	}()
	c.Next()
}

func limitBody(c *gin.Context) {
	body := io.ReadCloser(timedBody{c.Request.Body})
	c.Set(bodyKey, body)
	c.Request.Body = http.MaxBytesReader(c.Writer, body, MaxBody)
	defer dropFiles(c)
	c.Next()
}

// dropFiles removes the temporary files of a form. The server does that of the
// request that it made, which knows of none: the form was read by way of a copy
// with another context.
func dropFiles(c *gin.Context) {
	if form := c.Request.MultipartForm; form != nil {
		if err := form.RemoveAll(); err != nil {
			logger(c).Error("remove what was uploaded", "error", err, "request", RequestID(c))
		}
	}
}

// timedBody is a body that says in our words that it came too slowly.
type timedBody struct{ io.ReadCloser }

func (b timedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = errSlowBody
	}
	return n, err
}

var errSlowBody = &StatusError{http.StatusRequestTimeout,
	"What was sent came too slowly, and nothing was stored: send it again on a better line, or in smaller parts."}

// limitTime ends what is done for a request when the time of its route is over.
func limitTime(c *gin.Context) {
	c.Set(wholeKey, c.Request)
	within(c, c.Request, timeOf(c.Request.Method, c.FullPath()))
}

// within does what follows until d is over, or the context of whole, which has
// no limit of ours yet. What the context holds by now, it holds on.
func within(c *gin.Context, whole *http.Request, d time.Duration) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(c.Request.Context()), d)
	defer cancel()
	defer context.AfterFunc(whole.Context(), cancel)()
	// Reading a body knows no context. A writer that is none of a server's has
	// no line to limit.
	http.NewResponseController(c.Writer).SetReadDeadline(time.Now().Add(d + bodyGrace))
	c.Request = c.Request.WithContext(ctx)
	c.Next()
}

// readForm reads the form that a page sent. One that came in part is none: what
// is left blank in a form may be meant to be taken away.
func readForm(c *gin.Context) {
	kind, _, _ := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if kind != "application/x-www-form-urlencoded" || api(c) {
		return
	}
	err := c.Request.ParseForm()
	if err == nil {
		return
	}
	if BodyError(err) == nil {
		err = fleet.Invalidf("the form cannot be read (%v): load the page again and send it from there", err)
	}
	answer(c, err)
}

// AllowBody lets the request's body be of n bytes instead of MaxBody, and the
// request take FileTime where that is a file.
func AllowBody(n int64) gin.HandlerFunc {
	return func(c *gin.Context) {
		if body, ok := c.Value(bodyKey).(io.ReadCloser); ok {
			c.Request.Body = http.MaxBytesReader(c.Writer, body, n)
		}
		if whole, ok := c.Value(wholeKey).(*http.Request); ok && n > MaxBody {
			within(c, whole, FileTime)
		}
	}
}
