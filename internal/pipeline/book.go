package pipeline

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// AcceptProposal carries proposed visits out, those of the ids given or, when
// ids is nil, all open ones at the depots that sc sees (at one of them unless
// depot is 0): a vehicle of theirs may be seen to come in at another, which
// others plan.
// Each is accepted or not by itself. All open ones are accepted in rounds: what was
// accepted before one that fails stays, and of more than a round, see brief.
func (s *Service) AcceptProposal(ctx context.Context, sc auth.Scope, by string, depot int64, ids []int64) ([]store.Outcome, error) {
	if ids != nil {
		return s.DB.AcceptVisits(ctx, sc, by, ids)
	}
	at := map[int64][]int64{} // by depot
	err := store.EachOfPages(func(after string) ([]store.Visit, string, error) {
		return s.DB.VisitPage(ctx, sc, store.VisitQuery{Depot: depot, State: store.VisitOpen}, after, store.MaxLimit)
	}, func(v *store.Visit) error {
		if v.Advice != store.AdviseNothing && sc.Sees(v.FleetID, v.DepotID) {
			at[v.DepotID] = append(at[v.DepotID], v.ID)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, depot := range slices.Sorted(maps.Keys(at)) {
		ids = append(ids, at[depot]...)
	}
	if len(ids) == 0 {
		return nil, fleet.NotFoundf("nothing is proposed that could be accepted")
	}
	return s.acceptInRounds(ctx, sc, by, ids, acceptRound)
}

// acceptRound is how many visits one transaction accepts where all are accepted: those
// of a few depots, within a second or so, so that others write in between. A statement
// would not take the ids of a national fleet's either.
const acceptRound = 500

// acceptInRounds accepts visits so many at a time, and then once more those that had no
// room: what one round gave up another may take.
func (s *Service) acceptInRounds(ctx context.Context, sc auth.Scope, by string, ids []int64, round int) (outcomes []store.Outcome, err error) {
	accept := func(ids []int64, done func(store.Outcome)) error {
		for some := range slices.Chunk(ids, round) {
			os, err := s.DB.AcceptVisits(ctx, sc, by, some)
			if err != nil {
				return err
			}
			for _, o := range os {
				if len(os) < len(ids) {
					o = brief(o)
				}
				done(o)
			}
		}
		return nil
	}
	at := map[int64]int{} // of those to try again
	var again []int64
	err = accept(ids, func(o store.Outcome) {
		if len(ids) > round && errors.Is(o.Fault, fleet.ErrConflict) {
			at[o.Visit.ID], again = len(outcomes), append(again, o.Visit.ID)
		}
		outcomes = append(outcomes, o)
	})
	if err != nil {
		return nil, err
	}
	return outcomes, accept(again, func(o store.Outcome) { outcomes[at[o.Visit.ID]] = o })
}

// brief is of an outcome the visit and its vehicle, where it is booked, and the fault: with
// their work, those of a national fleet would fill the memory.
func brief(o store.Outcome) store.Outcome {
	x := store.Outcome{Fault: o.Fault}
	x.Visit.ID, x.Visit.Vehicle = o.Visit.ID, strings.Clone(o.Visit.Vehicle)
	x.Booking.ID, x.Booking.Slot = o.Booking.ID, o.Booking.Slot
	return x
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
