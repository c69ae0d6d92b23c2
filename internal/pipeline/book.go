package pipeline

import (
	"context"
	"fmt"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// AcceptProposal carries proposed visits out, those of the ids given or, when
// ids is nil, all open ones at the depots that sc sees (at one of them unless
// depot is 0): a vehicle of theirs may be seen to come in at another, which
// others plan.
// Each is accepted or not by itself.
func (s *Service) AcceptProposal(ctx context.Context, sc auth.Scope, by string, depot int64, ids []int64) ([]store.Outcome, error) {
	if ids == nil {
		vs, err := s.DB.Visits(ctx, sc, store.VisitQuery{Depot: depot, State: store.VisitOpen})
		if err != nil {
			return nil, err
		}
		for _, v := range vs {
			if v.Advice != store.AdviseNothing && sc.Sees(v.FleetID, v.DepotID) {
				ids = append(ids, v.ID)
			}
		}
		if len(ids) == 0 {
			return nil, fleet.NotFoundf("nothing is proposed that could be accepted")
		}
	}
	return s.DB.AcceptVisits(ctx, sc, by, ids)
}

// ByHand is what a person books.
type ByHand struct {
	VehicleID int64
	Axles     []int        // with the parts and hours that a proposal would give them
	More      []fleet.Item // hoses or calipers of these axles, fluid of the vehicle
	Slot      fleet.Slot   // Bay and Starts may be 0 for any that is free
	Note      string
}

// moreTasks is how long each of ByHand.More takes.
var moreTasks = map[fleet.Item]fleet.Task{
	fleet.ItemHoses:    fleet.TaskHoses,
	fleet.ItemCalipers: fleet.TaskCalipers,
	fleet.ItemFluid:    fleet.TaskBleed,
}

// Book books a vehicle by hand; proposals then plan around it.
func (s *Service) Book(ctx context.Context, sc auth.Scope, by string, in ByHand) (fleet.Booking, error) {
	h, err := s.DB.History(ctx, sc, in.VehicleID)
	if err != nil {
		return fleet.Booking{}, err
	}
	fs, err := s.DB.Forecasts(ctx, sc, in.VehicleID)
	if err != nil {
		return fleet.Booking{}, err
	}
	shop, err := s.DB.Workshop(ctx, sc, in.Slot.DepotID, in.Slot.Day)
	if err != nil {
		return fleet.Booking{}, err
	}
	parts, err := s.DB.StockParts(ctx, sc, h.Vehicle.FleetID)
	if err != nil {
		return fleet.Booking{}, err
	}
	if len(in.Axles) == 0 {
		return fleet.Booking{}, fleet.Invalidf("axles: choose at least one")
	}
	// What is named twice is done once.
	in.Axles = slices.Compact(slices.Sorted(slices.Values(in.Axles)))
	in.More = slices.Compact(slices.Sorted(slices.Values(in.More)))
	hours := shop.Workshop.Hours
	b := fleet.Booking{VehicleID: in.VehicleID, Slot: in.Slot, Note: in.Note, Hours: hours[fleet.TaskSetUp].Of(h.Vehicle.Category)}
	for _, axle := range in.Axles {
		w, err := handWork(&h, fs, axle, in.Slot.Day, parts, hours)
		if err != nil {
			return fleet.Booking{}, err
		}
		b.Work = append(b.Work, w.items...)
		b.Hours += w.hours
		for _, item := range in.More {
			if item == fleet.ItemFluid || slices.ContainsFunc(w.items, func(x fleet.WorkItem) bool { return x.Item == item }) {
				continue
			}
			b.Work = append(b.Work, itemByHand(&h.Vehicle, axle, item, parts))
			b.Hours += hours[moreTasks[item]].Of(h.Vehicle.Category)
		}
	}
	for _, item := range in.More {
		if moreTasks[item] == "" {
			return fleet.Booking{}, fleet.Invalidf("more %q: want hoses, calipers or fluid", item)
		}
		if item == fleet.ItemFluid {
			b.Work = append(b.Work, itemByHand(&h.Vehicle, 0, item, parts))
			b.Hours += hours[fleet.TaskBleed].Of(h.Vehicle.Category)
		}
	}
	b.Minutes = inBay(b.Hours, shop.Day(in.Slot.Day))
	cost := Cost(&shop.Workshop, parts, &h.Vehicle, b.Hours, b.Work)
	b.Cost = &cost
	return s.DB.Book(ctx, sc, by, b)
}

// itemByHand is an item that a person asked for, with the part that fits.
func itemByHand(v *fleet.Vehicle, axle int, item fleet.Item, parts []fleet.StockPart) fleet.WorkItem {
	x := fleet.WorkItem{Axle: axle, Item: item, Reason: "booked by hand"}
	if p := fleet.PartFor(parts, v, axle, item); p != nil {
		x.PartID, x.PartNumber, x.Quantity = p.ID, p.Number, p.PerAxle
	}
	return x
}

// handWork is what a person books on an axle: as a proposal would, or the
// plain set where nothing is forecast.
func handWork(h *store.History, fs []store.AxleForecast, axle int, day fleet.Date, parts []fleet.StockPart, hours map[fleet.Task]fleet.TaskHours) (axleWork, error) {
	for i := range fs {
		if fs[i].Axle != axle {
			continue
		}
		if w, ok := workOn(&h.Vehicle, &fs[i], day, parts, hours); ok {
			return w, nil
		}
	}
	for _, a := range h.Axles {
		if a.Number != axle {
			continue
		}
		item, task := fleet.ItemPads, fleet.TaskPads
		if a.Brake == fleet.DrumBrake {
			item, task = fleet.ItemLinings, fleet.TaskLinings
		}
		return axleWork{[]fleet.WorkItem{itemByHand(&h.Vehicle, axle, item, parts)}, hours[task].Of(h.Vehicle.Category)}, nil
	}
	return axleWork{}, fleet.Invalidf("axle %d: the vehicle has none", axle)
}

// FinishBooking says that a booking's work was done, for a workshop that keeps
// no job card of it. Its parts are kept as
// fitted on its day, with the odometer where that was read, and the vehicle is
// forecast anew: the new parts' life begins.
func (s *Service) FinishBooking(ctx context.Context, sc auth.Scope, by string, id int64, odometerKm *float64) (fleet.Booking, error) {
	b, err := s.DB.Booking(ctx, sc, id)
	if err != nil {
		return b, err
	}
	if b.Day > s.Today() {
		return b, fleet.Invalidf("the booking of %s is for %s: it cannot be done before", b.Vehicle, b.Day.Written())
	}
	cards, err := s.DB.Cards(ctx, sc, store.CardQuery{Booking: id})
	if err != nil {
		return b, err
	}
	for _, c := range cards {
		if c.State != fleet.CardDropped {
			return b, fleet.Conflictf("job card %d is about the booking of %s: close the card, which ends the booking", c.ID, b.Vehicle)
		}
	}
	up := fleet.Upload{Kind: "fitments", Name: fmt.Sprintf("booking %d", b.ID), By: by}
	err = s.DB.TakeIn(ctx, sc, &up, func(w *store.Writer) error {
		if b, err = w.FinishBooking(by, id); err != nil {
			return err
		}
		c, err := w.Fitments(fittedBy(&b, odometerKm))
		up.Accepted, up.Repeated = c.Added+c.Changed, c.Repeated
		return err
	})
	if err != nil || up.Accepted == 0 {
		return b, err
	}
	return b, s.follow(ctx, sc, b.VehicleID, s.Today())
}

// fittedBy are the parts that a booking's work puts on.
func fittedBy(b *fleet.Booking, odometerKm *float64) (fitted []fleet.Fitment) {
	for _, w := range b.Work {
		if part := w.Item.Part(); part != "" && w.Axle > 0 {
			fitted = append(fitted, fleet.Fitment{
				VehicleID:  b.VehicleID,
				Position:   fleet.Position{Axle: w.Axle, Part: part},
				Date:       b.Day,
				OdometerKm: odometerKm,
			})
		}
	}
	return fitted
}
