package dashboard

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// VehiclesPage finds a vehicle.
type VehiclesPage struct {
	Shell
	Text   string
	Fleets []Choice
	Depots []Choice
	Total  int
	Rows   []VehicleRow
	From   string // link to the first page; blank on it
	Next   string // link to the next page; blank on the last
	Empty  *Empty
}

// VehicleRow is one vehicle found.
type VehicleRow struct {
	Link, Number, Plate string
	What                string // make, model, year
	Fleet, Depot        string
	Axles               int
	Measured            string // when last
	BookBy              string // earliest of its axles
	Urgent, Late        bool   // at or past a limit; its book-by day has passed
	ISO                 string // of that day, for machines
}

func (d *Dashboard) vehicles(c *gin.Context) error {
	tell := reader(c)
	fleetID, fleets, err := d.fleetChoice(c)
	if err != nil {
		return err
	}
	depotID, depots, err := d.depotOfFleet(c, fleetID)
	if err != nil {
		return err
	}
	q := store.VehicleQuery{Text: strings.TrimSpace(c.Query("q")), Fleet: fleetID, Depot: depotID, After: c.Query("after")}
	got, err := d.svc.DB.Vehicles(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	p := VehiclesPage{
		Shell:  Shell{Title: "Vehicles", Place: "vehicles", Cautions: true},
		Text:   q.Text,
		Fleets: fleets,
		Depots: depots,
		Total:  got.Total,
	}
	today := d.svc.Today()
	for i := range got.Rows {
		row := vehicleRow(tell, &got.Rows[i], today)
		if fleets == nil || fleetID != 0 { // of one fleet all
			row.Fleet = ""
		}
		p.Rows = append(p.Rows, row)
	}
	keep := query{}
	for name, value := range map[string]string{"q": q.Text, "fleet": c.Query("fleet"), "depot": c.Query("depot")} {
		if value != "" && value != "0" {
			keep = keep.with(name, value)
		}
	}
	if q.After != "" {
		p.From = "/vehicles" + keep.encode()
	}
	if got.Next != "" {
		p.Next = "/vehicles" + keep.with("after", got.Next).encode()
	}
	switch {
	case len(p.Rows) > 0:
	case q.Text != "" || fleetID != 0 || depotID != 0:
		p.Empty = &Empty{Title: "No vehicle fits", Text: "Number, plate, make and model are searched, whatever their case.", Link: "/vehicles", Label: "Show all vehicles"}
	default:
		p.Empty = &Empty{Title: "No vehicles yet", Text: "Vehicles come from files.", Steps: true}
	}
	return d.send(c, http.StatusOK, "vehicles", p)
}

func vehicleRow(tell units.Reader, r *store.VehicleRow, today fleet.Date) VehicleRow {
	v := VehicleRow{
		Link:     "/vehicles/" + strconv.FormatInt(r.ID, 10),
		Number:   r.Number,
		Plate:    r.Plate,
		What:     strings.TrimSpace(r.Make + " " + r.Model),
		Fleet:    r.Fleet,
		Depot:    r.Depot,
		Axles:    r.Axles,
		Measured: "never measured",
		BookBy:   "no date",
	}
	if r.Year != 0 {
		v.What = strings.TrimSpace(v.What + " " + strconv.Itoa(r.Year))
	}
	if r.LastReading != nil {
		v.Measured = "measured " + tell.DayNear(*r.LastReading, today)
	}
	switch {
	case r.PastLimit:
		v.BookBy, v.Urgent = "now: at or past a limit", true
	case r.LastReading == nil || float64(today-*r.LastReading) > forecast.OldAfter:
		v.BookBy = "measure first" // no forecast clears it
	case r.BookBy == nil:
	case *r.BookBy < today:
		v.BookBy, v.Late = "now: to be booked by "+tell.DayNear(*r.BookBy, today), true
	default:
		v.BookBy, v.ISO = "book by "+tell.DayNear(*r.BookBy, today), r.BookBy.String()
	}
	return v
}
