package dashboard

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// FindPage finds the vehicle that is to be measured.
type FindPage struct {
	Shell
	Text  string
	Found []FoundVehicle
	More  int // vehicles that fit and are not listed
	None  bool
	Today []FoundVehicle // booked for today, or for the next day that has any
	Day   string         // which
	Empty *Empty         // there is no vehicle yet
}

// FoundVehicle is a vehicle found by its number or plate.
type FoundVehicle struct {
	Link   string `json:"link"` // to its form
	Number string `json:"number"`
	Plate  string `json:"plate"`
	What   string `json:"what"` // make, model, depot
}

const (
	// foundShown is what fits on a phone beside its keypad, and a little more.
	foundShown = 8
	// foundLooked is how many are ranked: the number that was meant is hardly
	// further down among those that have the same letters in them.
	foundLooked = 200
)

// findVehicle lists the vehicles whose number or plate has the text in it; it
// answers the page's script in JSON. One that fits alone is gone to at once.
func (d *Dashboard) findVehicle(c *gin.Context) error {
	p := FindPage{Shell: Shell{Title: "Enter readings", Place: "readings"}, Text: strings.TrimSpace(c.Query("q"))}
	if p.Text != "" {
		got, err := d.svc.DB.Vehicles(c.Request.Context(), d.scope(c), store.VehicleQuery{Text: p.Text, Limit: foundLooked})
		if err != nil {
			return err
		}
		rankVehicles(got.Rows, p.Text)
		shown := got.Rows[:min(len(got.Rows), foundShown)]
		shared := sharedNames(len(shown), func(i int) (string, int64) { return shown[i].Number, shown[i].ID })
		for i := range shown {
			v := foundVehicle(&shown[i])
			if shared[shown[i].Number] { // in fleets of their own
				v.What += " · " + shown[i].Fleet
			}
			p.Found = append(p.Found, v)
		}
		p.More = got.Total - len(p.Found)
		p.None = got.Total == 0
	}
	if web.WantsJSON(c) {
		if p.Found == nil {
			p.Found = []FoundVehicle{}
		}
		return sendJSON(c, http.StatusOK, struct {
			Found []FoundVehicle `json:"found"`
			More  int            `json:"more"`
		}{p.Found, p.More})
	}
	if len(p.Found) == 1 && p.More == 0 {
		c.Redirect(http.StatusSeeOther, p.Found[0].Link)
		return nil
	}
	if len(p.Found) == 0 {
		known, err := d.svc.DB.MoreVehicles(c.Request.Context(), d.scope(c), 0)
		if err != nil {
			return err
		}
		if !known {
			p.Empty = &Empty{Title: "No vehicles yet", Text: "What is measured belongs to an axle of a vehicle. Both come from files.", Steps: true}
		}
	}
	if p.Text == "" && p.Empty == nil {
		var err error
		if p.Today, p.Day, err = d.today(c); err != nil {
			return err
		}
	}
	return d.send(c, http.StatusOK, "find", p)
}

// todayShown is how many vehicles of a day are within reach without typing: more than
// a workshop takes in, fewer than a phone keeps pages of.
const todayShown = 25

// todayAhead is how many days on that day is looked for: past a weekend and a holiday.
const todayAhead = 4

// today are the vehicles booked for today whose readings the asker may enter, or those
// of the next day that has any, and which day that is.
func (d *Dashboard) today(c *gin.Context) (found []FoundVehicle, words string, err error) {
	sc, today := d.scope(c), d.svc.Today()
	words = "today"
	for day := today; day <= today+todayAhead && len(found) == 0; day++ {
		if day > today {
			words = weekday(reader(c), day)
		}
		bs, err := d.svc.DB.Bookings(c.Request.Context(), sc, store.BookingQuery{From: day, To: day, States: []fleet.BookingState{fleet.Booked}})
		if err != nil {
			return nil, "", err
		}
		listed := map[int64]bool{}
		for i := range bs {
			b := &bs[i]
			if len(found) == todayShown || listed[b.VehicleID] || !sc.Sees(b.FleetID, b.HomeDepotID) {
				continue
			}
			listed[b.VehicleID] = true
			found = append(found, FoundVehicle{measureLink(b.VehicleID), b.Vehicle, b.Plate, b.Depot + " · " + workWords(b.Work)})
		}
	}
	return found, words, nil
}

func measureLink(vehicleID int64) string { return vehicleLink(vehicleID) + "/measure" }

func foundVehicle(r *store.VehicleRow) FoundVehicle {
	var what []string
	for _, s := range []string{strings.TrimSpace(r.Make + " " + r.Model), r.Depot} {
		if s != "" {
			what = append(what, s)
		}
	}
	return FoundVehicle{
		Link:   measureLink(r.ID),
		Number: r.Number,
		Plate:  r.Plate,
		What:   strings.Join(what, " · "),
	}
}

// rankVehicles puts first what has text as its number or plate, then what has
// it as a word of them, then what begins with it; the rest stays in order.
func rankVehicles(rows []store.VehicleRow, text string) {
	squeeze := strings.NewReplacer(" ", "", "-", "")
	want := squeeze.Replace(strings.ToLower(text))
	rank := func(r *store.VehicleRow) int {
		best := 3
		for _, name := range []string{strings.ToLower(r.Number), strings.ToLower(r.Plate)} {
			switch whole := squeeze.Replace(name); {
			case whole == want:
				best = 0
			case slices.Contains(strings.FieldsFunc(name, func(c rune) bool { return c == ' ' || c == '-' }), want):
				best = min(best, 1)
			case strings.HasPrefix(whole, want):
				best = min(best, 2)
			}
		}
		return best
	}
	slices.SortStableFunc(rows, func(a, b store.VehicleRow) int { return cmp.Compare(rank(&a), rank(&b)) })
}
