package dashboard

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// CalendarsPage is where calendars of bookings are made and withdrawn.
type CalendarsPage struct {
	Shell
	Address string // of the one just made, shown this once
	Of      string // what that is of
	Depots  []Choice
	Vehicle Field
	Feeds   []FeedRow
}

// FeedRow is a calendar that somebody can subscribe to.
type FeedRow struct {
	Of, Where string
	Made, By  string
	Read      string // when last, in words
	Withdraw  string // where the form goes
}

func (d *Dashboard) calendars(c *gin.Context) error {
	return d.showCalendars(c, http.StatusOK, nil, CalendarsPage{})
}

// showCalendars sends the page, with what p says already.
func (d *Dashboard) showCalendars(c *gin.Context, status int, f *fields, p CalendarsPage) error {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	feeds, err := d.svc.DB.CalendarFeeds(ctx, sc)
	if err != nil {
		return err
	}
	depots, err := d.svc.DB.Depots(ctx, sc)
	if err == nil {
		err = d.tellApart(c, len(depots), func(i int) *fleet.Depot { return &depots[i] })
	}
	if err != nil {
		return err
	}
	p.Shell = Shell{Title: "Calendars", Place: "calendars"}
	p.Vehicle = f.field("vehicle", "One vehicle, by its number", "")
	p.Depots = []Choice{{Value: "", Label: "none"}}
	for _, x := range depots {
		id := fmt.Sprint(x.ID)
		p.Depots = append(p.Depots, Choice{Value: id, Label: x.Name, Chosen: f != nil && f.text("depot") == id})
	}
	for i := range feeds {
		p.Feeds = append(p.Feeds, feedRow(tell, &feeds[i]))
	}
	return d.send(c, status, "calendars", p)
}

func feedRow(tell units.Reader, f *store.CalendarFeed) FeedRow {
	row := FeedRow{
		Of:       feedOf(f),
		Where:    f.Fleet,
		Made:     tell.Day(fleet.DateOf(f.MadeAt)),
		By:       f.MadeBy,
		Read:     "never read",
		Withdraw: fmt.Sprintf("/calendars/%d/withdraw", f.ID),
	}
	if f.ReadOn != nil {
		row.Read = "last read " + tell.Day(*f.ReadOn)
	}
	return row
}

func feedOf(f *store.CalendarFeed) string {
	if f.VehicleID != 0 {
		return f.Vehicle
	}
	return f.Depot
}

// makeCalendar makes a calendar and shows its address, once.
func (d *Dashboard) makeCalendar(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	feed := store.CalendarFeed{DepotID: f.id("depot"), MadeBy: d.who(c), Account: web.SignedIn(c).Account}
	if number := f.text("vehicle"); number != "" {
		id, err := d.vehicleNumbered(c, number)
		if err := f.take("vehicle", err); err != nil {
			return err
		}
		feed.VehicleID = id
	}
	if f.ok() && (feed.DepotID == 0) == (feed.VehicleID == 0) {
		f.fault("vehicle", "Choose a depot, or give the number of a vehicle")
	}
	if !f.ok() {
		return d.showCalendars(c, http.StatusBadRequest, f, CalendarsPage{})
	}
	secret, err := d.svc.MakeCalendar(ctx, sc, &feed)
	if err != nil {
		return err
	}
	p := CalendarsPage{Address: d.origin(c) + web.SecretPath + secret + ".ics"}
	feeds, err := d.svc.DB.CalendarFeeds(ctx, sc)
	if err != nil {
		return err
	}
	for i := range feeds {
		if feeds[i].ID == feed.ID {
			p.Of = feedOf(&feeds[i])
		}
	}
	return d.showCalendars(c, http.StatusOK, nil, p)
}

// vehicleNumbered returns the id of the vehicle of a number, in whatever case.
func (d *Dashboard) vehicleNumbered(c *gin.Context, number string) (int64, error) {
	index, err := d.svc.DB.VehicleIndex(c.Request.Context(), d.scope(c))
	if err != nil {
		return 0, err
	}
	var ids []int64
	for n, keys := range index {
		if strings.EqualFold(n, number) {
			for _, k := range keys {
				ids = append(ids, k.ID)
			}
		}
	}
	switch len(ids) {
	case 0:
		return 0, fleet.Invalidf("no vehicle has the number %s", number)
	case 1:
		return ids[0], nil
	}
	return 0, fleet.Invalidf("several fleets have a vehicle %s; make a calendar of its depot instead", number)
}

// origin is the address that people reach the pages at: as set, or as this
// request came.
func (d *Dashboard) origin(c *gin.Context) string {
	if d.svc.URL != "" {
		return strings.TrimSuffix(d.svc.URL, "/")
	}
	if web.Secure(c.Request) {
		return "https://" + c.Request.Host
	}
	return "http://" + c.Request.Host
}

func (d *Dashboard) withdrawCalendar(c *gin.Context) error {
	id, err := web.PathID(c, "calendar")
	if err != nil {
		return err
	}
	if err := d.svc.DB.RevokeCalendarFeed(c.Request.Context(), d.scope(c), id, d.who(c)); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/calendars")
	return nil
}

// calendarFile sends the calendar of a secret address. Whoever knows that may
// read it: programs that subscribe to calendars cannot sign in.
func (d *Dashboard) calendarFile(c *gin.Context) error {
	secret, ok := strings.CutSuffix(c.Param("file"), ".ics")
	if !ok {
		return fleet.NotFoundf("the address of a calendar ends in .ics")
	}
	body, err := d.svc.Calendar(c.Request.Context(), secret)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:16]) + `"`
	c.Header("ETag", tag)
	c.Header("Cache-Control", "private, no-cache") // kept, but asked after each time
	if matches(c.GetHeader("If-None-Match"), tag) {
		c.Status(http.StatusNotModified)
		return nil
	}
	c.Header("Content-Disposition", `inline; filename="brakewear.ics"`)
	web.Send(c, http.StatusOK, "text/calendar; charset=utf-8", body)
	return nil
}

// matches says whether If-None-Match (RFC 9110, 13.1.2) names the tag.
func matches(header, tag string) bool {
	for part := range strings.SplitSeq(header, ",") {
		part = strings.TrimSpace(part)
		if part == "*" || strings.TrimPrefix(part, "W/") == tag {
			return true
		}
	}
	return false
}
