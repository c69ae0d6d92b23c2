package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// query reads the parameters of a request and collects what is wrong with
// them. A parameter that the resource does not have is a fault too: a filter
// spelt wrong would show more than was asked for.
type query struct {
	c      *gin.Context
	known  []string
	faults []web.Fault
}

func (q *query) text(name string) string {
	q.known = append(q.known, name)
	return q.c.Query(name)
}

func (q *query) fault(name, read, format string, args ...any) {
	q.faults = append(q.faults, web.Fault{Parameter: name, Read: read, Detail: fmt.Sprintf(format, args...)})
}

// id reads a number from 1; 0 where the parameter is not given.
func (q *query) id(name string) int64 {
	s := q.text(name)
	if s == "" {
		return 0
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 1 {
		q.fault(name, s, "no id: give the number that the list of %ss has", name)
	}
	return n
}

// before reads the cursor of a list by id, newest first: the id that the page
// before ended with; 0 where none is given.
func (q *query) before() int64 {
	s := q.text("cursor")
	if s == "" {
		return 0
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 1 {
		q.fault("cursor", s, "no cursor of this list: begin with the first page")
	}
	return n
}

// limit reads the length of a page.
func (q *query) limit() int {
	s := q.text("limit")
	if s == "" {
		return store.DefaultLimit
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > store.MaxLimit {
		q.fault("limit", s, "want 1 to %d", store.MaxLimit)
	}
	return n
}

func (q *query) date(name string) *fleet.Date {
	s := q.text(name)
	if s == "" {
		return nil
	}
	d, err := fleet.ParseDate(s)
	if err != nil {
		q.fault(name, s, "no date: want year-month-day such as 2026-03-01")
		return nil
	}
	return &d
}

// instant reads a moment of a year that fleet.Date has.
func (q *query) instant(name string) *time.Time {
	s := q.text(name)
	if s == "" {
		return nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if year := t.UTC().Year(); err != nil || year < 1 || year > 9999 {
		q.fault(name, s, "no moment: want one such as 2026-03-01T09:30:00Z")
		return nil
	}
	return &t
}

// truth reads true or false; nil where the parameter is not given.
func (q *query) truth(name string) *bool {
	switch s := q.text(name); s {
	case "":
		return nil
	case "true", "false":
		yes := s == "true"
		return &yes
	default:
		q.fault(name, s, "want true or false")
		return nil
	}
}

// oneOf reads a word; "" where the parameter is not given.
func oneOf[T ~string](q *query, name string, words ...T) T {
	s := T(q.text(name))
	if s != "" && !slices.Contains(words, s) {
		q.fault(name, string(s), "want one of %s", fleet.OneOf(words))
	}
	return s
}

// err returns the faults, or nil.
func (q *query) err() error {
	for name, values := range q.c.Request.URL.Query() {
		if len(values) > 1 {
			q.fault(name, strings.Join(values, ", "), "given %d times: give it once", len(values))
		}
		if !slices.Contains(q.known, name) {
			q.fault(name, "", "no such parameter here: want %s", strings.Join(q.known, ", "))
		}
	}
	if len(q.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(q.faults, func(a, b web.Fault) int { return strings.Compare(a.Parameter, b.Parameter) })
	return &web.FaultsError{Status: http.StatusBadRequest, Detail: "The parameters of the address have faults.", Faults: q.faults}
}

// idAlone is web.PathID where the address takes no parameters.
func idAlone(c *gin.Context, what string) (int64, error) {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return 0, err
	}
	return web.PathID(c, what)
}

// send answers with v as JSON.
func send(c *gin.Context, status int, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	web.Send(c, status, "application/json", body)
	return nil
}
