package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

// statusClientGone is what the access log says of a request whose sender went
// away before the answer; nobody receives it (common practice, no standard).
const statusClientGone = 499

// retryAfterSeconds is when a client may try again after a database that could
// not be reached or had no space left: time for a restart or a fail-over.
const retryAfterSeconds = "10"

// Problem is an error as its reader sees it. Its JSON form is RFC 9457.
type Problem struct {
	Type      string `json:"type"`
	Title     string `json:"title"`
	Status    int    `json:"status"`
	Detail    string `json:"detail,omitempty"`
	Instance  string `json:"instance,omitempty"` // the request's id, as in the log
	RequestID string `json:"-"`
	// Errors are the faults one by one, where there are several to mend.
	Errors []Fault `json:"errors,omitempty"` // as in the example of RFC 9457, 3
}

// Fault is one thing wrong in a request, and what to do.
type Fault struct {
	Parameter string `json:"parameter,omitempty"` // of the query
	Line      int    `json:"line,omitempty"`      // of a file, or item of an array, from 1
	Column    string `json:"column,omitempty"`
	Read      string `json:"read,omitempty"`
	Detail    string `json:"detail"`
}

// FaultsError is a request that its sender can mend, fault by fault.
type FaultsError struct {
	Status int
	Detail string
	Faults []Fault
}

func (e *FaultsError) Error() string { return e.Detail }

// StatusError is an error of HTTP itself, such as a path that leads nowhere.
type StatusError struct {
	Status int
	Detail string
}

func (e *StatusError) Error() string { return e.Detail }

// ProblemOf says what the reader of err is told: status, title and, where the
// reader can do something about it, detail. An unknown error shows nothing.
func ProblemOf(err error) Problem {
	status, detail := classify(err)
	var faults []Fault
	if fe, ok := errors.AsType[*FaultsError](err); ok {
		status, detail, faults = fe.Status, fe.Detail, fe.Faults
	}
	return Problem{
		Type:   "about:blank", // RFC 9457, 4.2.1: the status says it all
		Title:  http.StatusText(status),
		Status: status,
		Detail: detail,
		Errors: faults,
	}
}

func classify(err error) (status int, detail string) {
	err = fleet.DiskError(err) // of a temporary file
	var se *StatusError
	var tooLarge *http.MaxBytesError
	var wait *fleet.WaitError
	switch {
	case errors.As(err, &se):
		return se.Status, se.Detail
	case errors.As(err, &tooLarge):
		return http.StatusRequestEntityTooLarge,
			fmt.Sprintf("What was sent is larger than the %s that are taken at once: split it.", bytesInWords(tooLarge.Limit))
	case errors.Is(err, fleet.ErrInvalid):
		return http.StatusBadRequest, err.Error()
	case errors.Is(err, fleet.ErrNotFound):
		return http.StatusNotFound, err.Error()
	case errors.Is(err, fleet.ErrConflict):
		return http.StatusConflict, err.Error()
	case errors.Is(err, fleet.ErrStranger):
		return http.StatusUnauthorized, err.Error()
	case errors.Is(err, fleet.ErrDenied):
		return http.StatusForbidden, err.Error()
	case errors.As(err, &wait):
		return http.StatusTooManyRequests, wait.Why
	case errors.Is(err, fleet.ErrDamaged):
		return http.StatusInternalServerError, "The database is damaged. Enter nothing more, and tell whoever runs this service: what was taken in is in the last backup."
	case errors.Is(err, fleet.ErrFull):
		return http.StatusInsufficientStorage, "No space is left on the service's disk, so nothing was stored. Tell whoever runs it to make room; then send this again."
	case errors.Is(err, fleet.ErrReadOnly):
		return http.StatusServiceUnavailable, "The database can only be read just now, so nothing was stored. Try again in a moment; if that does not help, tell whoever runs the service."
	case errors.Is(err, fleet.ErrUnsure):
		return http.StatusServiceUnavailable, "The connection to the database was lost at the last moment, and it is not known whether this was stored. Look first. Sending the same file or form of readings again does no harm: nothing is stored twice."
	case errors.Is(err, fleet.ErrUnavailable):
		return http.StatusServiceUnavailable, "The database cannot be reached just now: try again in a moment. Sending the same file or form of readings again does no harm: nothing is stored twice."
	case errors.Is(err, context.Canceled):
		return statusClientGone, ""
	case errors.Is(err, context.DeadlineExceeded):
		return http.StatusServiceUnavailable, "This took too long and was given up: try again in a moment."
	}
	return http.StatusInternalServerError, "Something went wrong on our side. It has been logged."
}

func bytesInWords(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d kB", n>>10)
	}
	return fmt.Sprintf("%d MB", n>>20)
}

// BodyError returns err, of reading a request's body, where that is the
// body's size, its time or our disk, and otherwise nil: then what was sent is wrong.
func BodyError(err error) error {
	status, _ := classify(err)
	var se *StatusError
	if errors.As(err, &se) || status == http.StatusRequestEntityTooLarge || errors.Is(fleet.DiskError(err), fleet.ErrUnavailable) {
		return err
	}
	return nil
}

// Handle makes a gin handler of h. What h returns as an error is answered here
// and nowhere else: as a page for people, as a problem (RFC 9457) for a script and under /api/.
func Handle(h func(*gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		if err := h(c); err != nil {
			answer(c, err)
		}
	}
}

// answer sends err as a problem or a page, and logs it where it is ours.
func answer(c *gin.Context, err error) {
	p := ProblemOf(err)
	p.RequestID = RequestID(c)
	p.Instance = "urn:request:" + p.RequestID
	c.Abort()
	if p.Status >= 500 {
		logger(c).LogAttrs(c.Request.Context(), slog.LevelError, "request failed",
			slog.String("error", err.Error()),
			slog.String("path", loggedPath(c)),
			slog.String("request", p.RequestID))
	}
	if c.Writer.Written() {
		// Half an answer is out. Cutting the line is the only way left to say
		// that the rest is missing.
		panic(http.ErrAbortHandler)
	}
	if p.Status == http.StatusServiceUnavailable || p.Status == http.StatusInsufficientStorage {
		RetryLater(c)
	}
	if wait, ok := errors.AsType[*fleet.WaitError](err); ok {
		c.Header("Retry-After", strconv.Itoa(int(wait.For.Seconds())+1))
	}
	// Headers meant for the answer that failed.
	c.Writer.Header().Del("Content-Disposition")
	c.Writer.Header().Del("Content-Encoding")
	c.Header("Cache-Control", "no-store")
	if page := errorPage(c); page != nil && !api(c) && !WantsJSON(c) {
		body, err := page(c, p)
		if err == nil {
			Send(c, p.Status, "text/html; charset=utf-8", body)
			return
		}
		logger(c).Error("error page failed", "error", err, "request", p.RequestID)
	}
	body, err := json.Marshal(p)
	if err != nil {
		panic(err) // strings and a number
	}
	c.Data(p.Status, "application/problem+json", body)
}

// RetryLater says when to try again what could not be reached.
func RetryLater(c *gin.Context) { c.Header("Retry-After", retryAfterSeconds) }

// LogRefused logs why something was refused, where the answer does not say.
func LogRefused(c *gin.Context, what string, err error) {
	logger(c).LogAttrs(c.Request.Context(), slog.LevelWarn, "refused", slog.String("what", what), slog.String("error", err.Error()),
		slog.String("client", Client(c)), slog.String("request", RequestID(c)))
}

// WantsJSON says whether the request is a script's.
func WantsJSON(c *gin.Context) bool {
	return strings.Contains(c.GetHeader("Accept"), "application/json")
}

// PathID returns the id in a request's path; what it is of stands in the error.
func PathID(c *gin.Context, what string) (int64, error) { return PathNumber(c, "id", what) }

// PathNumber is PathID for a parameter of another name.
func PathNumber(c *gin.Context, param, what string) (int64, error) {
	id, err := strconv.ParseInt(c.Param(param), 10, 64)
	if err != nil || id < 1 {
		return 0, fleet.NotFoundf("%s %q: there is none", what, c.Param(param))
	}
	return id, nil
}

// ErrorPage renders a problem as a page.
type ErrorPage func(c *gin.Context, p Problem) ([]byte, error)

const errorPageKey = "web.errorPage"

// UseErrorPage makes page the answer to errors outside /api/.
func UseErrorPage(r *gin.Engine, page ErrorPage) {
	r.Use(func(c *gin.Context) { c.Set(errorPageKey, page) })
}

func errorPage(c *gin.Context) ErrorPage {
	page, _ := c.Value(errorPageKey).(ErrorPage)
	return page
}
