package dashboard

import (
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// Narrow is what links of the overview narrow the due-soon list to.
type Narrow struct {
	Measured string // yes, no; blank = both
	Left     store.LeftClass
	From, To *fleet.Date // median limit date
	// DueFrom and DueTo are between which days it is to be booked.
	DueFrom, DueTo *fleet.Date
	Late           bool // booked for a day after that
	Part           fleet.Part
	Duty           *string // blank: not given; nil = all
	Moved          store.Shift
}

// HiddenField keeps a value in a form that does not show it.
type HiddenField struct{ Name, Value string }

func readNarrow(c *gin.Context) (n Narrow, err error) {
	if n.Measured = c.Query("measured"); n.Measured != "" && n.Measured != "yes" && n.Measured != "no" {
		return n, fleet.Invalidf("measured %q: want yes or no", n.Measured)
	}
	n.Left = store.LeftClass(c.Query("left")) // the store judges it
	for name, to := range map[string]**fleet.Date{"limit_from": &n.From, "limit_to": &n.To, "due_from": &n.DueFrom, "due_to": &n.DueTo} {
		if s := c.Query(name); s != "" {
			day, err := fleet.ParseDate(s)
			if err != nil {
				return n, fleet.Invalidf("%s: %v", name, err)
			}
			*to = &day
		}
	}
	switch late := c.Query("late"); late {
	case "", "yes":
		n.Late = late == "yes"
	default:
		return n, fleet.Invalidf("late %q: want yes, or nothing", late)
	}
	if n.Part = fleet.Part(c.Query("part")); n.Part != "" && !n.Part.Valid() {
		return n, fleet.Invalidf("part %q: want one of %s", n.Part, fleet.OneOf(fleet.Parts))
	}
	if duty, ok := c.GetQuery("duty"); ok {
		n.Duty = &duty
	}
	n.Moved = store.Shift(c.Query("moved")) // the store judges it
	return n, nil
}

// any says whether there is anything to narrow by.
func (n *Narrow) any() bool { return *n != Narrow{} }

func (n *Narrow) set(q *store.DueQuery, today fleet.Date) {
	if n.Measured != "" {
		yes := n.Measured == "yes"
		q.Measured = &yes
	}
	q.Left, q.LimitFrom, q.LimitTo, q.Part, q.Duty = n.Left, n.From, n.To, n.Part, n.Duty
	q.From, q.Before, q.Late = n.DueFrom, n.DueTo, n.Late
	q.Moved, q.Today = n.Moved, today
}

// fields are the parameters that n stands for.
func (n *Narrow) fields() (fs []HiddenField) {
	add := func(name, value string) { fs = append(fs, HiddenField{name, value}) }
	if n.Measured != "" {
		add("measured", n.Measured)
	}
	if n.Left != "" {
		add("left", string(n.Left))
	}
	if n.From != nil {
		add("limit_from", n.From.String())
	}
	if n.To != nil {
		add("limit_to", n.To.String())
	}
	if n.DueFrom != nil {
		add("due_from", n.DueFrom.String())
	}
	if n.DueTo != nil {
		add("due_to", n.DueTo.String())
	}
	if n.Late {
		add("late", "yes")
	}
	if n.Part != "" {
		add("part", string(n.Part))
	}
	if n.Duty != nil {
		add("duty", *n.Duty)
	}
	if n.Moved != "" {
		add("moved", string(n.Moved))
	}
	return fs
}

// keep adds n to the query of a link.
func (n *Narrow) keep(q query) query {
	for _, f := range n.fields() {
		q = q.with(f.Name, f.Value)
	}
	return q
}

// words say which axles these are.
func (n *Narrow) words(tell units.Reader, today fleet.Date) string {
	var says []string
	switch {
	case n.Left != "":
		says = append(says, "with "+leftWords(n.Left))
	case n.Measured == "no":
		says = append(says, "of which no reading says what is left")
	case n.Measured == "yes":
		says = append(says, "with a reading")
	}
	switch {
	case n.From != nil && n.To != nil:
		says = append(says, "most likely at their limit "+rangeWords(tell, *n.From, *n.To, today))
	case n.From != nil:
		says = append(says, "most likely at their limit from "+tell.DayNear(*n.From, today)+" on")
	case n.To != nil:
		says = append(says, "most likely at their limit by "+tell.DayNear(*n.To, today))
	}
	switch {
	case n.DueFrom != nil && n.DueTo != nil:
		says = append(says, "to be booked by "+rangeWords(tell, *n.DueFrom, *n.DueTo, today))
	case n.DueFrom != nil:
		says = append(says, "to be booked by "+tell.DayNear(*n.DueFrom, today)+" or later")
	case n.DueTo != nil:
		says = append(says, "to be booked by "+tell.DayNear(*n.DueTo, today))
	}
	if n.Late {
		says = append(says, "booked later than they are to be booked by")
	}
	if n.Part != "" {
		says = append(says, "with "+plurals(n.Part)+" first to wear out")
	}
	if n.Duty != nil {
		says = append(says, "of duty “"+dutyWords(*n.Duty)+"”")
	}
	if n.Moved != "" {
		says = append(says, movedWords(n.Moved)+" since "+tell.DayNear(today-store.TrendDays, today))
	}
	return strings.Join(says, ", ")
}

// leftWords say how much is left in a class.
func leftWords(c store.LeftClass) string {
	if c == store.LeftPast {
		return "nothing left"
	}
	lo, hi, _ := strings.Cut(string(c), "-")
	return lo + "–" + hi + "\u00a0% left"
}

func dutyWords(duty string) string {
	if duty == "" {
		return "not given"
	}
	return duty
}

// plurals names the parts of an axle.
func plurals(p fleet.Part) string { return string(p) + "s" }
