package store

import (
	"errors"
	"fmt"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// takeStock takes the parts that a job card's or a booking's work used off the shelves
// of a depot. A shelf that should hold too few was not counted well: it is empty now.
func (t *tx) takeStock(fleetID, depotID int64, by, moved string, of int64, used []fleet.WorkItem) error {
	for _, x := range used {
		if x.PartID == 0 || x.Quantity <= 0 {
			continue
		}
		at := shelf{part: x.PartID, fleet: fleetID, depot: depotID}
		n, err := t.lies(at)
		if err == nil {
			err = t.moveStock(at, -min(n, x.Quantity), by, moved, of)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// shelf is where a part lies at a depot.
type shelf struct{ part, fleet, depot int64 }

// lies returns how many lie on a shelf, and holds it until the transaction ends.
func (t *tx) lies(at shelf) (n int, err error) {
	lock := ""
	if t.db.dialect == Postgres {
		lock = " for update"
	}
	err = t.one([]any{&n}, `select quantity from stock where part_id = ? and depot_id = ?`+lock, at.part, at.depot)
	if errors.Is(err, errNoRows) {
		return 0, nil
	}
	return n, err
}

// moveStock puts n on a shelf that is held, or takes them off it, and tells the log.
func (t *tx) moveStock(at shelf, n int, by, moved string, of int64) error {
	if n == 0 {
		return nil
	}
	_, err := t.exec(`update stock set quantity = quantity + ? where part_id = ? and depot_id = ?`, n, at.part, at.depot)
	if err != nil {
		return err
	}
	act := actStockBack
	if n < 0 {
		act, n = actStockTaken, -n
	}
	return t.log(entry{act: act, record: "part", id: at.part, fleet: at.fleet, depot: at.depot, by: by, detail: fmt.Sprintf(moved, n, of)})
}

// What the log tells of a shelf: movedBy reads it.
const (
	actStockSet   = "stock set"
	actStockTaken = "stock taken"
	actStockBack  = "stock put back"

	movedForCard    = "%d for job card %d"
	movedForBooking = "%d for booking %d"
)

// reshelve makes a change that sets a record aside or lets it count again, as c says
// then, and follows where it is a fitment: what the closed job cards that noted it took
// off the shelves for it goes back, or off again. A set of which another part stays on
// stays off. A shelf that was counted meanwhile stays as it was counted.
func (t *tx) reshelve(rec fleet.Record, c *fleet.Correction, change func() error) error {
	if rec.Kind != fleet.FitmentRecord {
		return change()
	}
	cards, err := t.closedWith(rec.ID)
	if err != nil {
		return err
	}
	before := make([][]fleet.WorkItem, len(cards))
	for i := range cards {
		if before[i], err = t.usedOn(&cards[i], cards[i].State); err != nil {
			return err
		}
	}
	if err := change(); err != nil {
		return err
	}
	for i := range cards {
		card := &cards[i]
		card.Parts = nil
		if err := t.cardParts(card); err != nil {
			return err
		}
		now, err := t.usedOn(card, card.State)
		if err != nil {
			return err
		}
		for _, x := range without(before[i], now) {
			if err := t.reshelveItem(card, x, c, true); err != nil {
				return err
			}
		}
		for _, x := range without(now, before[i]) {
			if err := t.reshelveItem(card, x, c, false); err != nil {
				return err
			}
		}
	}
	return nil
}

// without returns the items of a that b lacks.
func without(a, b []fleet.WorkItem) (rest []fleet.WorkItem) {
	for _, x := range a {
		if !slices.Contains(b, x) {
			rest = append(rest, x)
		}
	}
	return rest
}

// reshelveItem puts back what a card took of an item, or takes what was put back.
func (t *tx) reshelveItem(card *fleet.Card, x fleet.WorkItem, c *fleet.Correction, back bool) error {
	if x.PartID == 0 {
		return nil
	}
	at := shelf{part: x.PartID, fleet: card.FleetID, depot: card.DepotID}
	n, err := t.lies(at)
	if err != nil {
		return err
	}
	off, on, counted, err := t.movedBy(at, card.ID)
	if err != nil {
		return err
	}
	c.Counted = c.Counted || counted
	move := min(off, x.Quantity)
	if !back {
		move = -min(on, x.Quantity, n)
	}
	c.Shelved += move
	return t.moveStock(at, move, c.By, movedForCard, card.ID)
}

// closedWith returns the closed job cards that noted a fitment, held until the
// transaction ends, so that of the parts of a set the last to be undone is seen.
func (t *tx) closedWith(fitmentID int64) (cards []fleet.Card, err error) {
	lock := ""
	if t.db.dialect == Postgres {
		lock = " for update"
	}
	var ids []int64
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	}, `
		select id
		from job_cards
		where id in (select card_id from job_card_parts where fitment_id = ?)
		order by id`+lock, fitmentID)
	for _, id := range ids {
		if err != nil {
			return nil, err
		}
		var c fleet.Card
		if c, err = t.card(auth.AllFleets(), id); err == nil && c.State != fleet.CardOpen {
			cards = append(cards, c)
		}
	}
	return cards, err
}

// movedBy says how many of a part a job card has off a shelf that is held, how many it
// put back, and whether it was counted after either: then it has neither.
func (t *tx) movedBy(at shelf, cardID int64) (off, back int, counted bool, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var act, detail string
		if err := r.Scan(&act, &detail); err != nil {
			return err
		}
		if act == actStockSet {
			counted = counted || off > 0 || back > 0
			off, back = 0, 0
			return nil
		}
		var n int
		var card int64
		if _, err := fmt.Sscanf(detail, movedForCard, &n, &card); err != nil || card != cardID {
			return nil // for other work
		}
		if act == actStockBack {
			n = -n
		}
		off, back = off+n, max(0, back-n)
		return nil
	}, `
		select act, detail
		from audit_log
		where record = 'part' and record_id = ? and depot_id = ? and act in (?, ?, ?)
			and id > (select min(id) from audit_log where record = 'job card' and record_id = ?)
		order by id`, at.part, at.depot, actStockSet, actStockTaken, actStockBack, cardID)
	return off, back, counted, err
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
