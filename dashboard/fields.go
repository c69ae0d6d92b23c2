package dashboard

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Field is one field of a form: what stands in it, and what is wrong with that.
type Field struct {
	Name, Label string
	Value       string
	Unit        string // behind the input
	Type        string // of the input; blank = text
	Mode        string // of the phone's keys: decimal, numeric; blank = letters
	Fault       string
}

// fields reads a form that was sent and collects what is wrong, by field, so
// that the page can come back with everything as it was typed.
type fields struct {
	c      *gin.Context
	faults map[string]string
	order  []string     // of the faults, as they came
	in     units.Reader // units of the form that was sent
}

func readFields(c *gin.Context) *fields {
	f := &fields{c: c, faults: map[string]string{}}
	in, err := sentIn(c)
	if err != nil {
		f.fault("", "%s", faultWords(f.c, err))
	}
	f.in = in
	return f
}

// faultWords is an error that its reader can mend as a sentence, with days as the
// reader has them.
func faultWords(c *gin.Context, err error) string { return capital(reader(c).Days(err.Error())) }

func (f *fields) ok() bool { return len(f.faults) == 0 }

func (f *fields) fault(name, format string, args ...any) {
	if f.faults[name] == "" {
		f.faults[name] = fmt.Sprintf(format, args...)
		f.order = append(f.order, name)
	}
}

// first is the fault that came first; blank where there is none.
func (f *fields) first() string {
	for _, name := range f.order {
		if s := f.faults[name]; s != "" {
			return s
		}
	}
	return ""
}

// take keeps an error that the sender can mend as the fault of a field, and
// returns any other.
func (f *fields) take(name string, err error) error {
	if err == nil || !isKind(err, fleet.ErrInvalid, fleet.ErrConflict) {
		return err
	}
	f.fault(name, "%s", faultWords(f.c, err))
	return nil
}

func (f *fields) text(name string) string { return strings.TrimSpace(f.c.PostForm(name)) }

// number reads a number as decimal does; a blank is 0.
func (f *fields) number(name string) float64 {
	s := f.text(name)
	if s == "" {
		return 0
	}
	x, err := decimal(s)
	if err != nil {
		f.fault(name, "%s", err)
	}
	return x
}

// maybe is number that tells a blank from 0.
func (f *fields) maybe(name string) *float64 {
	if f.text(name) == "" {
		return nil
	}
	x := f.number(name)
	return &x
}

func (f *fields) whole(name string) int {
	s := f.text(name)
	if s == "" {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		f.fault(name, "“%s” is no whole number", s)
	}
	return n
}

func (f *fields) id(name string) int64 {
	s := f.text(name)
	if s == "" {
		return 0
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		f.fault(name, "“%s” is none of the choices", s)
	}
	return n
}

// ids reads a field that may come several times.
func (f *fields) ids(name string) []int64 {
	var ids []int64
	for _, s := range f.c.PostFormArray(name) {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil || n < 0 {
			f.fault(name, "“%s” is none of the choices", s)
			continue
		}
		ids = append(ids, n)
	}
	return ids
}

// day reads a day; a blank is nil.
func (f *fields) day(name string) *fleet.Date {
	s := f.text(name)
	if s == "" {
		return nil
	}
	d, err := fleet.ParseDate(s)
	if err != nil {
		f.fault(name, "“%s” is no day: write it as 2026-03-01", s)
		return nil
	}
	return &d
}

// must is day for a field that may not be blank.
func (f *fields) must(name string) fleet.Date {
	d := f.day(name)
	if d == nil {
		f.fault(name, "Give a day")
		return 0
	}
	return *d
}

// clock reads a time of day; a blank is 0.
func (f *fields) clock(name string) fleet.Clock {
	s := f.text(name)
	if s == "" {
		return 0
	}
	t, err := fleet.ParseClock(s)
	if err != nil {
		f.fault(name, "“%s” is no time: write it as 07:30", s)
	}
	return t
}

// field makes the field of a form: as it was sent where the form comes back
// with faults, else with value.
func (f *fields) field(name, label, value string) Field {
	x := Field{Name: name, Label: label, Value: value}
	if f != nil {
		x.Value, x.Fault = f.c.PostForm(name), f.faults[name]
	}
	return x
}

// shownForm is a form as it is shown, for a hidden field of it named shown.
func shownForm(form map[string]string) string {
	b, err := json.Marshal(form)
	if err != nil {
		panic(err) // texts can always be written
	}
	return string(b)
}

// fitFields begins the names of the lines of what a part fits: they change together.
const fitFields = "fit_"

// byNow says what is kept of a field that two have changed.
const byNow = "%s by now: somebody else changed it meanwhile. Save again if yours is to stand"

// sinceShown holds a form that was sent against the one that would be shown now: what its
// sender left as it was shown says what is kept by now, and what somebody else has changed
// as well is a fault of its field, so that whoever sends it again means it.
func (f *fields) sinceShown(now map[string]string) {
	var was map[string]string
	if json.Unmarshal([]byte(f.c.PostForm("shown")), &was) != nil {
		return // it does not say what it was shown with
	}
	sent := map[string]string{}
	for name := range f.c.Request.PostForm {
		sent[name] = f.text(name)
	}
	groups := map[string][]string{}
	for _, form := range []map[string]string{was, now, sent} {
		for name := range form {
			if strings.HasPrefix(name, fitFields) {
				groups["fits"] = append(groups["fits"], name)
			} else if _, asked := now[name]; asked {
				groups[name] = []string{name}
			}
		}
	}
	for _, group := range slices.Sorted(maps.Keys(groups)) {
		names := groups[group]
		differ := func(a, b map[string]string) bool {
			return slices.ContainsFunc(names, func(name string) bool { return a[name] != b[name] })
		}
		switch {
		case !differ(was, now), !differ(sent, now):
		case differ(was, sent):
			by := "Blank"
			if now[group] != "" {
				by = "“" + now[group] + "”"
			}
			f.fault(group, byNow, by)
		default:
			for _, name := range names {
				f.c.Request.PostForm.Set(name, now[name])
			}
		}
	}
}

// plain is a number for a form's field: as few digits as it needs.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// money is an amount with its currency, cents only below a hundred.
func money(currency string, x float64) string {
	s := units.Thousands(int64(math.Round(x)))
	if math.Abs(x) < 100 && x != math.Trunc(x) {
		s = strconv.FormatFloat(x, 'f', 2, 64)
	}
	if currency != "" {
		return currency + " " + s
	}
	return s
}

// price is what one of a part costs, to the cent where it has any: it was entered,
// and not reckoned.
func price(currency string, x float64) string {
	cents := int64(math.Round(100 * x))
	if cents%100 == 0 {
		return money(currency, x)
	}
	return strings.TrimSpace(currency + " " + units.Thousands(cents/100) + fmt.Sprintf(".%02d", cents%100))
}

// hoursWords is a time of work: 1.5 h.
func hoursWords(h float64) string {
	return strconv.FormatFloat(math.Round(10*h)/10, 'f', -1, 64) + " h"
}
