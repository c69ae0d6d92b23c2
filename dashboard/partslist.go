package dashboard

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// PartsListPage is the parts that some days will take, against what is there.
type PartsListPage struct {
	Shell
	From, To Field
	Depots   []Choice
	Range    string
	Rows     []PartNeedRow
	More     int // that are in the files only
	CSV      string
	XLSX     string
	Fault    string
}

// PartNeedRow is one part.
type PartNeedRow struct {
	Link, Number, What  string
	Expected, Range     string
	Booked, Shelf, Lead string
	Short               string // what to do about it; blank = enough
}

// defaultNeedDays is how far ahead parts are looked at: eight weeks, longer
// than most take to come.
const defaultNeedDays = 56

// partsQuery reads the days and the depot asked for.
func (d *Dashboard) partsQuery(c *gin.Context) (q pipeline.PartsQuery, err error) {
	q.From = d.svc.Today()
	q.To = q.From + defaultNeedDays
	if q.Depot, err = queryID(c, "depot"); err != nil {
		return q, err
	}
	for name, to := range map[string]*fleet.Date{"from": &q.From, "to": &q.To} {
		if s := c.Query(name); s != "" {
			if *to, err = fleet.ParseDate(s); err != nil {
				return q, fleet.Invalidf("%s: %v", name, err)
			}
		}
	}
	return q, nil
}

func (d *Dashboard) partsList(c *gin.Context) error {
	tell := reader(c)
	today := d.svc.Today()
	q, err := d.partsQuery(c)
	if err != nil {
		return err
	}
	_, depots, err := d.depotChoice(c, d.scope(c))
	if err != nil {
		return err
	}
	ns, err := d.svc.PartsNeeded(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	keep := query{}.with("from", q.From.String()).with("to", q.To.String())
	if q.Depot != 0 {
		keep = keep.with("depot", strconv.FormatInt(q.Depot, 10))
	}
	p := PartsListPage{
		Shell:  Shell{Title: "Parts needed", Place: "plan", Cautions: true},
		From:   Field{Name: "from", Label: "From", Value: q.From.String(), Type: "date"},
		To:     Field{Name: "to", Label: "To", Value: q.To.String(), Type: "date"},
		Depots: depots,
		Range:  rangeWords(tell, q.From, q.To, today),
		CSV:    "/plan/parts.csv" + keep.encode(),
		XLSX:   "/plan/parts.xlsx" + keep.encode(),
	}
	slices.SortStableFunc(ns, byToDo)
	if p.More = max(0, len(ns)-maxNeeds); p.More > 0 {
		ns = ns[:maxNeeds]
	}
	for i := range ns {
		p.Rows = append(p.Rows, partNeedRow(tell, &ns[i], today))
	}
	return d.send(c, http.StatusOK, "partslist", p)
}

// maxNeeds is how many parts the page shows: what is to be done about leads them.
// Judgement: some screens, which anybody reads to the end before ordering.
const maxNeeds = 150

// byToDo orders what is short by its last day to order, then what no part is known
// for, most first, then what there is enough of.
func byToDo(a, b pipeline.PartNeed) int {
	rank := func(n *pipeline.PartNeed) int {
		switch {
		case n.OrderBy != nil:
			return int(*n.OrderBy) - math.MaxInt32
		case n.Part.ID == 0:
			return 0
		}
		return 1
	}
	if c := cmp.Compare(rank(&a), rank(&b)); c != 0 || a.Part.ID != 0 {
		return c
	}
	return cmp.Compare(b.Expected, a.Expected)
}

func partNeedRow(tell units.Reader, n *pipeline.PartNeed, today fleet.Date) PartNeedRow {
	row := PartNeedRow{
		Number:   n.Part.Number,
		What:     n.Part.Item.Words(),
		Expected: strconv.FormatFloat(n.Expected, 'f', 1, 64),
		Range:    fmt.Sprintf("%d to %d", n.Lo, n.Hi),
		Booked:   count(n.Booked),
		Shelf:    count(n.Stock),
		Lead:     plural(n.Part.LeadDays, "day", "days"),
	}
	if n.Lo == n.Hi {
		row.Range = strconv.Itoa(n.Lo)
	}
	if n.Part.Name != "" {
		row.What += ": " + n.Part.Name
	}
	if n.Part.ID == 0 {
		row.Number, row.What, row.Shelf, row.Lead = "not known", n.For, "–", "–"
		row.Short = "no part is known to fit: enter its number"
		return row
	}
	row.Link = partPath(n.Part.ID)
	if n.Short > 0 {
		row.Short = fmt.Sprintf("%d short", n.Short)
		if n.OrderBy != nil {
			row.Short += ": order by " + tell.DayNear(*n.OrderBy, today)
			if *n.OrderBy <= today {
				row.Short = fmt.Sprintf("%d short: order now", n.Short)
			}
		}
	}
	return row
}
