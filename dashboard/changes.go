package dashboard

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// ChangesPage is the log of changes: who did what to which record, and when.
type ChangesPage struct {
	Shell
	First, Last Field
	By          Field
	Records     []Choice
	Number      Field
	Rows        []ChangeRow
	From        string // link to the first page; blank on it
	Next        string // link to the page after; blank on the last
	CSV         string
	Zone        string // whose clock times and days go by
	Whole       bool   // changes of no fleet are among them
}

// ChangeRow is one change.
type ChangeRow struct {
	What   string // act, in words
	Record string // what was changed
	Link   string // to it; blank where it has no page
	By     string
	ByLink string // to all that they did
	When   string
	ISO    string
	Where  string // fleet and depot
	Via    string // page, token, command line
	Detail string
}

func (d *Dashboard) registerChanges(r *gin.Engine) {
	r.GET("/changes", web.Handle(d.changes))
	r.GET("/changes.csv", web.Handle(d.changesCSV))
}

// changesShown is how many are on a page.
const changesShown = 100

// changesFilter reads what the log is narrowed to. Days are those of the
// reader's clock, like the times that are shown.
func changesFilter(c *gin.Context) (q store.DeedQuery, keep query, err error) {
	keep = query{}
	begins := func(d fleet.Date) time.Time {
		y, m, day := d.Time().Date()
		return time.Date(y, m, day, 0, 0, 0, 0, reader(c).Clock())
	}
	for _, f := range []struct {
		name string
		set  func(fleet.Date)
	}{
		{"first", func(d fleet.Date) { q.From = begins(d) }},
		{"last", func(d fleet.Date) { q.To = begins(d + 1) }},
	} {
		text := c.Query(f.name)
		if text == "" {
			continue
		}
		day, err := fleet.ParseDate(text)
		if err != nil {
			return q, keep, fleet.Invalidf("%s day: %v", f.name, err)
		}
		f.set(day)
		keep = keep.with(f.name, text)
	}
	if q.By = c.Query("by"); q.By != "" {
		keep = keep.with("by", q.By)
	}
	if q.Record = c.Query("record"); q.Record != "" {
		if !slices.Contains(store.DeedRecords, q.Record) {
			return q, keep, fleet.Invalidf("record %q: want one of %s", q.Record, fleet.OneOf(store.DeedRecords))
		}
		keep = keep.with("record", q.Record)
	}
	if text := c.Query("number"); text != "" {
		if q.RecordID, err = strconv.ParseInt(text, 10, 64); err != nil || q.RecordID < 1 {
			return q, keep, fleet.Invalidf("number %q: want a record's number, such as 12", text)
		}
		if q.Record == "" {
			return q, keep, fleet.Invalidf("number %d: say of which kind of record", q.RecordID)
		}
		keep = keep.with("number", text)
	}
	return q, keep, nil
}

func (d *Dashboard) changes(c *gin.Context) error {
	q, keep, err := changesFilter(c)
	if err != nil {
		return err
	}
	if text := c.Query("before"); text != "" {
		if q.Before, err = strconv.ParseInt(text, 10, 64); err != nil || q.Before < 1 {
			return fleet.Invalidf("before %q: it is no place in the log; begin with the first page", text)
		}
	}
	q.Limit = changesShown + 1 // one more tells whether there is a page after
	ds, err := d.svc.DB.Deeds(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	p := ChangesPage{
		Shell:  Shell{Title: "Log of changes", Place: "changes"},
		First:  Field{Name: "first", Label: "From", Type: "date", Value: c.Query("first")},
		Last:   Field{Name: "last", Label: "To", Type: "date", Value: c.Query("last")},
		By:     Field{Name: "by", Label: "By", Value: q.By},
		Number: Field{Name: "number", Label: "Number", Mode: "numeric", Value: c.Query("number")},
		CSV:    "/changes.csv" + keep.encode(),
		Whole:  d.scope(c).All(),
		Zone:   cmp.Or(reader(c).Zone, "UTC"),
	}
	p.Records = []Choice{{"", "every kind", q.Record == ""}}
	for _, r := range store.DeedRecords {
		p.Records = append(p.Records, Choice{r, r, r == q.Record})
	}
	if q.Before != 0 {
		p.From = "/changes" + keep.encode()
	}
	if len(ds) > changesShown {
		ds = ds[:changesShown]
		p.Next = "/changes" + keep.with("before", strconv.FormatInt(ds[changesShown-1].ID, 10)).encode()
	}
	for i := range ds {
		p.Rows = append(p.Rows, changeRow(reader(c), &ds[i]))
	}
	return d.send(c, http.StatusOK, "changes", p)
}

// recordPages are where the records lie that have a page.
var recordPages = map[string]string{
	"account":     "/accounts/%d",
	"booking":     "/bookings/%d",
	"finding":     "/findings/%d",
	"fitment":     "/corrections/fitment/%d",
	"fleet":       "/rules/fleets/%d",
	"job card":    "/cards/%d",
	"odometer":    "/corrections/odometer/%d",
	"part":        "/parts/%d",
	"person told": "/people/%d",
	"reading":     "/corrections/reading/%d",
	"upload":      "/readings/%d",
	"vehicle":     "/vehicles/%d",
	"workshop":    "/workshops/%d",
}

func changeRow(tell units.Reader, x *store.Deed) ChangeRow {
	row := ChangeRow{
		What:   capital(x.Act),
		Record: x.Record,
		By:     x.By,
		When:   tell.At(x.At),
		ISO:    x.At.UTC().Format(time.RFC3339),
		Where:  x.Fleet,
		Via:    viaWords(x),
		Detail: x.Detail,
	}
	if x.Depot != "" {
		row.Where += ", " + x.Depot
	}
	if x.RecordID != 0 {
		row.Record += fmt.Sprintf(" %d", x.RecordID)
		if page := recordPages[x.Record]; page != "" {
			row.Link = fmt.Sprintf(page, x.RecordID)
		}
	}
	switch {
	case x.By != "":
		row.ByLink = "/changes" + query{}.with("by", x.By).encode()
	case x.Via == auth.ViaPage || x.Via == auth.ViaAPI:
		row.By = "somebody not signed in"
	default:
		row.By = "the program itself"
	}
	return row
}

// viaWords say how a change came in, and from where.
func viaWords(x *store.Deed) string {
	var s string
	switch {
	case x.Token != 0:
		s = fmt.Sprintf("by token %d, from %s", x.Token, x.From)
	case x.Via == auth.ViaPage:
		s = "on a page, from " + x.From
	case x.Via == auth.ViaAPI:
		s = "by the API, from " + x.From
	case x.Via == auth.ViaCommand:
		s = "on the command line, as " + x.From
	case x.Via == auth.ViaWork:
		s = "by the program's own work"
	}
	if x.Request != "" {
		s += ", request " + x.Request
	}
	return s
}

// changeColumns are the head of the log as a file.
var changeColumns = []string{
	"id", "at", "by", "account_id", "via", "from", "token_id", "request", "act", "record", "record_id", "fleet", "depot", "detail",
}

func (d *Dashboard) changesCSV(c *gin.Context) error {
	q, _, err := changesFilter(c)
	if err != nil {
		return err
	}
	number := func(id int64) string {
		if id == 0 {
			return ""
		}
		return strconv.FormatInt(id, 10)
	}
	return d.export(c, "changes", changeColumns, func(row func(...any) error) error {
		return d.svc.DB.EachDeed(c.Request.Context(), d.scope(c), q, func(x *store.Deed) error {
			return row(x.ID, x.At.UTC().Format(time.RFC3339Nano), x.By, number(x.Account), string(x.Via), x.From, number(x.Token), x.Request,
				x.Act, x.Record, number(x.RecordID), x.Fleet, x.Depot, x.Detail)
		})
	})
}
