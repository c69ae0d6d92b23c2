package store

import (
	"errors"
	"slices"

	"brakewear/internal/fleet"
)

// takeStock takes the parts that work used off the shelves of a depot. A shelf
// that should hold too few was not counted well: it is empty now.
func (t *tx) takeStock(depotID int64, used []fleet.WorkItem) error {
	for _, x := range used {
		if x.PartID == 0 || x.Quantity <= 0 {
			continue
		}
		_, err := t.exec(`
			update stock
			set quantity = case when quantity > ? then quantity - ? else 0 end
			where part_id = ? and depot_id = ?`, x.Quantity, x.Quantity, x.PartID, depotID)
		if err != nil {
			return err
		}
	}
	return nil
}

// usedOn returns what the job of a card used: of wearing parts those that were
// noted as fitted, by the number noted where that is a part of the fleet, else
// as planned; of the rest all that was planned, when the card was passed.
func (t *tx) usedOn(c *fleet.Card, state fleet.CardState) (used []fleet.WorkItem, err error) {
	for _, w := range c.Work {
		if w.Item.Part() == "" && state == fleet.CardPassed {
			used = append(used, w)
		}
	}
	for _, p := range c.Parts {
		if p.Undone != nil {
			continue
		}
		item := fleet.ItemOf(p.Part)
		x := fleet.WorkItem{Axle: p.Axle, Item: item}
		err := t.one([]any{&x.PartID, &x.Quantity}, `
			select id, per_axle
			from stock_parts
			where fleet_id = ? and number_key = ? and item = ?`, c.FleetID, key(p.Number), string(item))
		if errors.Is(err, errNoRows) {
			i := slices.IndexFunc(c.Work, func(w fleet.WorkItem) bool { return w.Axle == p.Axle && w.Item == item })
			if i < 0 {
				continue
			}
			x.PartID, x.Quantity = c.Work[i].PartID, c.Work[i].Quantity
		} else if err != nil {
			return nil, err
		}
		// The sides of an axle are noted apart and come in one set.
		if !slices.ContainsFunc(used, func(u fleet.WorkItem) bool { return u.Axle == x.Axle && u.Item == item && u.PartID == x.PartID }) {
			used = append(used, x)
		}
	}
	return used, nil
}
