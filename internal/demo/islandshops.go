package demo

import (
	"context"
	"fmt"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// islandShop is a workshop of the island. Its hours, bays and amounts are
// invented, as is the island's money.
type islandShop struct {
	bays             int
	opens, closes    fleet.Clock
	week             [7]float64 // technician hours, Monday first
	overtime, labour float64
	satOpens         fleet.Clock // Saturday's own hours, where it has any
	satCloses        fleet.Clock
}

const islandMoney = "SC" // Skarrow crowns

var islandShops = map[string]islandShop{
	"Quenby Sands":  {bays: 3, opens: 7 * 60, closes: 16 * 60, week: [7]float64{16, 16, 16, 16, 12, 5}, overtime: 2, labour: 84, satOpens: 8 * 60, satCloses: 13 * 60},
	"Gannetsby":     {bays: 2, opens: 7*60 + 30, closes: 16*60 + 30, week: [7]float64{14, 14, 14, 14, 14}, overtime: 1.5, labour: 78},
	"Upper Skarrow": {bays: 1, opens: 8 * 60, closes: 17 * 60, week: [7]float64{8, 8, 8, 8, 6}, labour: 72},
}

// Prices of the island's parts, for light and heavy vehicles, and days until
// they come over from the mainland. Invented.
var islandParts = []struct {
	item         fleet.Item
	name         string
	perAxle      int
	light, heavy float64
	lead         int
}{
	{fleet.ItemPads, "Pad set", 1, 64, 236, 5},
	{fleet.ItemRotors, "Rotor", 2, 58, 214, 9},
	{fleet.ItemLinings, "Lining set", 1, 52, 198, 7},
	{fleet.ItemDrums, "Drum", 2, 71, 262, 14},
}

// setUpIsland gives the island its workshops, parts, and what is in its
// vehicles' calendars.
func setUpIsland(ctx context.Context, svc *pipeline.Service) error {
	db, sc, today := svc.DB, auth.AllFleets(), svc.Today()
	depots, err := db.Depots(ctx, sc)
	if err != nil {
		return err
	}
	for _, d := range depots {
		k, ok := islandShops[d.Name]
		if !ok {
			continue
		}
		w := fleet.DefaultWorkshop()
		w.DepotID, w.Bays, w.Overtime, w.Currency, w.LabourRate, w.OvertimeRate = d.ID, k.bays, k.overtime, islandMoney, k.labour, 1.4*k.labour
		for i, hours := range k.week {
			w.Week[i] = fleet.WorkDay{Technicians: hours}
			if hours > 0 {
				w.Week[i].Opens, w.Week[i].Closes = k.opens, k.closes
			}
		}
		if k.satCloses > 0 {
			w.Week[5].Opens, w.Week[5].Closes = k.satOpens, k.satCloses
		}
		if err := db.SaveWorkshop(ctx, sc, "demo", w); err != nil {
			return err
		}
		// The island's own holiday, a Thursday two weeks on, and a day of
		// training at the largest workshop.
		holiday := today + 14 + fleet.Date((10-today.Weekday())%7)
		cs := []fleet.Closure{{DepotID: d.ID, First: holiday, Last: holiday, Reason: "Landing Day"}}
		if k.bays == 3 {
			training := holiday + 5
			cs = append(cs, fleet.Closure{DepotID: d.ID, First: training, Last: training, Technicians: 8, Reason: "training"})
		}
		if err := db.AddClosures(ctx, sc, cs); err != nil {
			return err
		}
	}
	if err := stockIsland(ctx, svc, depots); err != nil {
		return err
	}
	return fillCalendars(ctx, svc)
}

// stockIsland enters the parts of the island's models, and what lies on the
// shelves: enough of most, none of a few.
func stockIsland(ctx context.Context, svc *pipeline.Service, depots []fleet.Depot) error {
	sc := auth.AllFleets()
	n := 0
	for _, l := range islandLines {
		k := &classes[l.class]
		for i := range k.models {
			m := &k.models[i]
			for place := range 2 {
				for _, p := range islandParts {
					if (p.item == fleet.ItemLinings || p.item == fleet.ItemDrums) != (place == 1 && m.rearDrum) {
						continue
					}
					price := p.light
					if k.category.Heavy() {
						price = p.heavy
					}
					part := fleet.StockPart{
						FleetID:  depots[0].FleetID,
						Number:   partNumber(m, p.item, place),
						Name:     p.name + ", " + [2]string{"front", "rear"}[place],
						Item:     p.item,
						PerAxle:  p.perAxle,
						Price:    &price,
						LeadDays: p.lead,
					}
					for axle := 1; axle <= m.axles; axle++ {
						if min(axle, 2)-1 == place {
							part.Fits = append(part.Fits, fleet.Fit{Make: m.make, Model: m.name, Axle: axle})
						}
					}
					id, err := svc.DB.SaveStockPart(ctx, sc, part)
					if err != nil {
						return fmt.Errorf("part %s: %w", part.Number, err)
					}
					for j, d := range depots {
						n++
						lies := p.perAxle * [7]int{1, 0, 0, 2, 1, 0, 1}[(3*n+j)%7]
						if err := svc.DB.SetStock(ctx, sc, id, d.ID, lies); err != nil {
							return err
						}
					}
				}
			}
		}
	}
	return nil
}

// partNumber makes a number up, such as VE-ST12-P1 for the front pads of a
// Velquary Strand 12.
func partNumber(m *model, item fleet.Item, place int) string {
	var word strings.Builder
	for i, w := range strings.Fields(m.name) {
		if i == 0 && len(w) > 2 {
			w = w[:2]
		}
		word.WriteString(w)
	}
	return fmt.Sprintf("%s-%s-%s%d", strings.ToUpper(m.make[:2]), strings.ToUpper(word.String()), strings.ToUpper(string(item[:1])), place+1)
}

// fillCalendars enters days that a few vehicles cannot be spared, visits they
// make anyway, and when the brake fluid of the light ones was changed.
func fillCalendars(ctx context.Context, svc *pipeline.Service) error {
	db, sc, today := svc.DB, auth.AllFleets(), svc.Today()
	for after := ""; ; {
		page, err := db.Vehicles(ctx, sc, store.VehicleQuery{After: after, Limit: store.MaxLimit})
		if err != nil {
			return err
		}
		for i, v := range page.Rows {
			if err := fillCalendar(ctx, svc, &v.Vehicle, i); err != nil {
				return err
			}
		}
		if after = page.Next; after == "" {
			break
		}
	}
	index, err := db.VehicleIndex(ctx, sc)
	if err != nil {
		return err
	}
	away := func(number string, from, to fleet.Date, why string) error {
		if len(index[number]) == 0 {
			return nil
		}
		first, last := today+from, today+to
		return db.AddAbsence(ctx, sc, fleet.Absence{VehicleID: index[number][0].ID, First: &first, Last: &last, Reason: why})
	}
	for _, err := range []error{
		away("Bus 111", 1, 24, "hired out to the regatta"),
		away("Van 31", 1, 12, "on the north round"),
		away("Refuse 42", 20, 26, "at the body builder's"),
	} {
		if err != nil {
			return err
		}
	}
	return nil
}

// fluidEvery spreads the changes of brake fluid over the two years and a bit
// after which it is due, in days from vehicle to vehicle.
const fluidEvery = 37

func fillCalendar(ctx context.Context, svc *pipeline.Service, v *fleet.Vehicle, i int) error {
	db, sc, today := svc.DB, auth.AllFleets(), svc.Today()
	if !v.Category.Heavy() {
		day := today - fleet.Date(60+fluidEvery*(i%19))
		if err := db.SetFluidChange(ctx, sc, v.ID, &day); err != nil {
			return err
		}
	}
	// A market-day rule for the vans of one round, a service for every fifth
	// vehicle within the coming weeks.
	if strings.HasPrefix(v.Number, "Van") && i%4 == 0 {
		if err := db.AddAbsence(ctx, sc, fleet.Absence{VehicleID: v.ID, Weekdays: fleet.Days(0).With(4), Reason: "market day"}); err != nil {
			return err
		}
	}
	if i%5 == 0 {
		day := today + fleet.Date(6+3*(i%14))
		day -= fleet.Date(max(0, day.Weekday()-3)) // Monday to Thursday
		return db.AddPlannedVisit(ctx, sc, fleet.PlannedVisit{VehicleID: v.ID, DepotID: v.DepotID, Day: day, What: "service"})
	}
	return nil
}
