package dashboard

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// PartsPage is the catalogue of parts with what lies on the shelves.
type PartsPage struct {
	Shell
	Fleets []Choice // whose parts; none where there is one fleet
	Rows   []PartRow
	Files  string // link to where a parts file is handed in
}

// PartRow is a part in the catalogue.
type PartRow struct {
	Link, Number, Name, Item string
	Price, Lead              string
	Fits                     string
	Stock                    []string // by depot, in words
}

// PartPage is the form of one part.
type PartPage struct {
	Shell
	Link      string // where the form goes
	Saved     bool
	Faults    int
	Fleets    []Choice // of a new one, where there are several
	Fields    []Field
	Items     []Choice
	ItemFault string
	Fits      []FitRow
	Stock     []StockField // by depot
	Shelf     bool         // whoever looks may say what lies on a shelf
	Fault     string       // of a fit
	Shown     string       // the form of a part that is there
}

// StockField is how many lie at a depot, and may be said anew. It carries what it
// showed: what a job took in between is not put back.
type StockField struct {
	Field
	Was     int
	May     bool
	Counted bool // it was just counted, whatever the number
}

// FitRow is one line of what a part fits.
type FitRow struct{ Make, Model, Vehicle, Axle Field }

func partPath(id int64) string { return "/parts/" + strconv.FormatInt(id, 10) }

func (d *Dashboard) parts(c *gin.Context) error {
	id, choices, err := d.fleetChoice(c)
	if err != nil {
		return err
	}
	ps, err := d.svc.DB.StockParts(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	currency, err := d.currencies(c)
	if err != nil {
		return err
	}
	p := PartsPage{Shell: Shell{Title: "Parts", Place: "plan"}, Fleets: choices, Files: "/readings"}
	for i := range ps {
		x := &ps[i]
		row := PartRow{
			Link:   partPath(x.ID),
			Number: x.Number,
			Name:   x.Name,
			Item:   x.Item.Words(),
			Price:  "price not known",
			Lead:   plural(x.LeadDays, "day", "days") + " to come",
			Fits:   fitsWords(x.Fits),
		}
		if x.Price != nil {
			row.Price = price(currency[x.FleetID], *x.Price)
		}
		for _, s := range x.Stock {
			row.Stock = append(row.Stock, fmt.Sprintf("%s %d", s.Depot, s.Quantity))
		}
		p.Rows = append(p.Rows, row)
	}
	return d.send(c, http.StatusOK, "parts", p)
}

// partFleets are the fleets whose parts whoever asks may change: a part is the
// whole fleet's, and only its shelves are a depot's.
func (d *Dashboard) partFleets(c *gin.Context) ([]fleet.Fleet, error) {
	plans := web.SignedIn(c).Scope(auth.Plan)
	fs, err := d.svc.DB.Fleets(c.Request.Context(), plans)
	return slices.DeleteFunc(fs, func(x fleet.Fleet) bool { return !plans.Sees(x.ID, 0) }), err
}

// currencies returns each fleet's currency: its first depot's that has one.
func (d *Dashboard) currencies(c *gin.Context) (map[int64]string, error) {
	ws, err := d.svc.DB.Workshops(c.Request.Context(), d.scope(c), d.svc.Today())
	out := map[int64]string{}
	for i := range ws {
		if out[ws[i].FleetID] == "" {
			out[ws[i].FleetID] = ws[i].Workshop.Currency
		}
	}
	return out, err
}

// fitsWords says what a part fits.
func fitsWords(fits []fleet.Fit) string {
	if len(fits) == 0 {
		return "fits nothing yet: say what, or no job gets it"
	}
	var words []string
	for _, f := range fits {
		what := strings.TrimSpace(f.Make + " " + f.Model)
		if f.Vehicle != "" {
			what = strings.TrimSpace(what + " " + f.Vehicle)
		}
		if what == "" {
			what = "every vehicle"
		}
		if f.Axle != 0 {
			what += ", axle " + strconv.Itoa(f.Axle)
		}
		words = append(words, what)
	}
	return strings.Join(words, "; ")
}

// spareFits is how many blank lines the form has for more of what a part fits.
const spareFits = 3

func (d *Dashboard) part(c *gin.Context) error { return d.showPart(c, http.StatusOK, nil, "") }

// showPart sends a part's form; f has it where it comes back with faults. What is told
// of the field moved is how many lie there now: whoever sends it again means that.
func (d *Dashboard) showPart(c *gin.Context, status int, f *fields, moved string) error {
	ctx, who := c.Request.Context(), web.SignedIn(c)
	sees, plans := who.Scope(auth.See), who.Scope(auth.Plan)
	p := PartPage{Shell: Shell{Title: "New part", Place: "plan"}, Link: "/parts", Saved: c.Query("saved") != ""}
	part := fleet.StockPart{PerAxle: 1, Item: fleet.ItemPads}
	own := f // the part itself, as it was sent
	if c.Param("id") != "" {
		id, err := web.PathID(c, "part")
		if err != nil {
			return err
		}
		if part, err = d.svc.DB.StockPart(ctx, sees, id); err != nil {
			return err
		}
		p.Title, p.Link = "Part "+part.Number, partPath(id)
		p.of = place{fleet: part.FleetID}
		p.Shown = shownForm(partForm(&part))
		if !plans.Sees(part.FleetID, 0) {
			own = nil // its fields are disabled, and were not sent
		}
		// Who sent the form sees what they may change alone; the page shows the rest too.
		ws, err := d.svc.DB.Depots(ctx, sees)
		if err != nil {
			return err
		}
		for _, w := range ws {
			if w.FleetID != part.FleetID {
				continue
			}
			n := 0
			for _, s := range part.Stock {
				if s.DepotID == w.ID {
					n = s.Quantity
				}
			}
			name, may := stockName(w.ID), plans.Sees(w.FleetID, w.ID)
			x := StockField{Field: f.field(name, "On the shelf at "+w.Name, strconv.Itoa(n)), Was: n, May: may}
			x.Counted = f != nil && may && f.text("counted_"+name) != ""
			switch {
			case !may:
				x.Value = strconv.Itoa(n) // it was not sent
			case f != nil && name != moved:
				x.Was = f.whole("was_" + name) // what stands in it is from then
			}
			p.Stock, p.Shelf = append(p.Stock, x), p.Shelf || may
		}
	} else {
		fs, err := d.partFleets(c)
		if err != nil {
			return err
		}
		if len(fs) == 0 {
			return fleet.Deniedf("parts are a whole fleet's: who plans for single depots sets what lies on their shelves")
		}
		for i, x := range fs {
			if len(fs) > 1 {
				p.Fleets = append(p.Fleets, Choice{strconv.FormatInt(x.ID, 10), x.Name, i == 0})
			}
		}
	}
	form := partForm(&part)
	p.Fields = []Field{
		own.field("number", "Part number", form["number"]),
		own.field("name", "Name", form["name"]),
		own.field("per_axle", "How many an axle takes", form["per_axle"]),
		own.field("price", "Price of one", form["price"]),
		own.field("lead_days", "Days from order to shelf", form["lead_days"]),
	}
	chosen := form["item"]
	if own != nil {
		chosen, p.ItemFault = own.text("item"), own.faults["item"]
	}
	if f != nil {
		p.Faults, p.Fault = len(f.faults), f.faults["fits"]
	}
	for _, x := range fleet.Items {
		p.Items = append(p.Items, Choice{string(x), x.Words(), string(x) == chosen})
	}
	rows := len(part.Fits) + spareFits
	if own != nil {
		rows = max(rows, sentFits(c))
	}
	for i := range rows {
		n := strconv.Itoa(i)
		p.Fits = append(p.Fits, FitRow{
			Make:    own.field("fit_make_"+n, "Make", form["fit_make_"+n]),
			Model:   own.field("fit_model_"+n, "Model", form["fit_model_"+n]),
			Vehicle: own.field("fit_vehicle_"+n, "Vehicle", form["fit_vehicle_"+n]),
			Axle:    own.field("fit_axle_"+n, "Axle", form["fit_axle_"+n]),
		})
	}
	return d.send(c, status, "part", p)
}

// partForm is a part's form as it is kept, but for its shelves.
func partForm(p *fleet.StockPart) map[string]string {
	form := map[string]string{
		"number": p.Number, "name": p.Name, "item": string(p.Item), "price": "",
		"per_axle": strconv.Itoa(p.PerAxle), "lead_days": strconv.Itoa(p.LeadDays),
	}
	if p.Price != nil {
		form["price"] = plain(*p.Price)
	}
	for i, x := range p.Fits {
		n := strconv.Itoa(i)
		form["fit_make_"+n], form["fit_model_"+n], form["fit_vehicle_"+n], form["fit_axle_"+n] = x.Make, x.Model, x.Vehicle, ""
		if x.Axle != 0 {
			form["fit_axle_"+n] = strconv.Itoa(x.Axle)
		}
	}
	return form
}

// setPart takes a part's form in, a new one or a change.
func (d *Dashboard) setPart(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	var part fleet.StockPart
	var kept *fleet.StockPart // nil for a new one
	if c.Param("id") != "" {
		id, err := web.PathID(c, "part")
		if err != nil {
			return err
		}
		old, err := d.svc.DB.StockPart(ctx, sc, id)
		if err != nil {
			return err
		}
		part.ID, part.FleetID = id, old.FleetID
		if !sc.Sees(part.FleetID, 0) {
			return d.setStock(c, f, &part)
		}
		kept = &old
		f.sinceShown(partForm(&old))
		if f.faults["item"] != "" {
			f.faults["item"] = fmt.Sprintf(byNow, "“"+old.Item.Words()+"”")
		}
		if f.faults["fits"] != "" {
			f.faults["fits"] = fmt.Sprintf("By now: %s. Somebody else changed the lines meanwhile. Save again if yours are to stand", fitsWords(old.Fits))
		}
	} else if part.FleetID = f.id("fleet"); part.FleetID == 0 {
		fs, err := d.partFleets(c)
		if err != nil {
			return err
		}
		if len(fs) != 1 {
			return fleet.Invalidf("fleet: choose whose part it is")
		}
		part.FleetID = fs[0].ID
	}
	part.Number, part.Name, part.Item = f.text("number"), f.text("name"), fleet.Item(f.text("item"))
	part.PerAxle, part.Price, part.LeadDays = f.whole("per_axle"), f.maybe("price"), f.whole("lead_days")
	if err := d.readFits(c, f, &part); err != nil {
		return err
	}
	probe := part
	probe.Fits = nil
	if err := probe.Validate(); err != nil {
		name := map[string]string{"part": "number", "per": "per_axle", "lead": "lead_days", "price": "price", "name": "name"}[firstWord(err.Error())]
		f.fault(name, "%s", capital(err.Error()))
	}
	stock, err := d.readStock(c, f, &part)
	if err != nil {
		return err
	}
	if !f.ok() {
		return d.showPart(c, http.StatusBadRequest, f, "")
	}
	id, err := d.svc.DB.ChangeStockPart(ctx, sc, kept, part, stock...)
	if errors.Is(err, store.ErrMeanwhile) {
		return d.setPart(c) // against what is kept now
	}
	faulty := faultyField(err)
	if err := f.take(faulty, err); err != nil {
		return err
	}
	if !f.ok() {
		return d.showPart(c, http.StatusBadRequest, f, faulty)
	}
	c.Redirect(http.StatusSeeOther, partPath(id)+"?saved=1")
	return nil
}

func firstWord(s string) string {
	word, _, _ := strings.Cut(s, " ")
	return strings.TrimSuffix(word, ":")
}

// maxFits bounds the lines of what a part fits.
const maxFits = 200

// sentFits is how many lines of what a part fits were sent.
func sentFits(c *gin.Context) (n int) {
	for n < maxFits {
		if _, sent := c.GetPostForm("fit_make_" + strconv.Itoa(n)); !sent {
			break
		}
		n++
	}
	return n
}

// readFits reads the lines of what a part fits; a vehicle is named by number.
func (d *Dashboard) readFits(c *gin.Context, f *fields, part *fleet.StockPart) error {
	var index map[string][]store.VehicleKey
	for i := range sentFits(c) {
		n := strconv.Itoa(i)
		x := fleet.Fit{Make: f.text("fit_make_" + n), Model: f.text("fit_model_" + n), Axle: f.whole("fit_axle_" + n)}
		if f.faults["fit_axle_"+n] != "" || x.Axle < 0 || x.Axle > fleet.MaxAxle {
			f.fault("fits", "Axle “%s”: want its number, 1 (front) to %d, or blank for all", f.text("fit_axle_"+n), fleet.MaxAxle)
			delete(f.faults, "fit_axle_"+n)
		}
		if number := f.text("fit_vehicle_" + n); number != "" {
			if index == nil {
				var err error
				if index, err = d.svc.DB.VehicleIndex(c.Request.Context(), d.scope(c)); err != nil {
					return err
				}
			}
			for _, k := range index[number] {
				if k.FleetID == part.FleetID {
					x.VehicleID = k.ID
				}
			}
			if x.VehicleID == 0 {
				f.fault("fits", "No vehicle of this fleet is called “%s”", number)
			}
		}
		if x != (fleet.Fit{}) || f.text("fit_vehicle_"+n) != "" {
			part.Fits = append(part.Fits, x)
		}
	}
	return nil
}

// setStock takes the shelves of a part's form in from a planner of single depots:
// the part itself is the whole fleet's.
func (d *Dashboard) setStock(c *gin.Context, f *fields, part *fleet.StockPart) error {
	stock, err := d.readStock(c, f, part)
	if err != nil {
		return err
	}
	moved := ""
	if f.ok() && len(stock) > 0 {
		err := d.svc.DB.ChangeStock(c.Request.Context(), d.scope(c), part.ID, stock...)
		moved = faultyField(err)
		if err := f.take(moved, err); err != nil {
			return err
		}
	}
	if !f.ok() {
		return d.showPart(c, http.StatusBadRequest, f, moved)
	}
	c.Redirect(http.StatusSeeOther, partPath(part.ID)+"?saved=1")
	return nil
}

// faultyField is where the form is at fault that the store refused.
func faultyField(err error) string {
	if moved := (*store.StockMoved)(nil); errors.As(err, &moved) {
		return stockName(moved.DepotID)
	}
	return "number"
}

func stockName(depot int64) string { return fmt.Sprintf("stock_%d", depot) }

// readStock reads what was typed for the shelves; what stands as it was shown is
// no change, unless it is said to have been counted.
func (d *Dashboard) readStock(c *gin.Context, f *fields, part *fleet.StockPart) (stock []store.StockChange, err error) {
	ds, err := d.svc.DB.Depots(c.Request.Context(), d.scope(c))
	if err != nil {
		return nil, err
	}
	for _, w := range ds {
		name := stockName(w.ID)
		if _, sent := c.GetPostForm(name); !sent || w.FleetID != part.FleetID {
			continue
		}
		x := store.StockChange{DepotID: w.ID, Was: f.whole("was_" + name), Quantity: f.whole(name), Counted: f.text("counted_"+name) != ""}
		if x.Quantity < 0 || x.Quantity > fleet.MaxStock {
			f.fault(name, "Want 0 to %d", fleet.MaxStock)
		}
		if x.Quantity != x.Was || x.Counted {
			stock = append(stock, x)
		}
	}
	return stock, nil
}
