package store

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// takeForBooking takes the parts that a booking's work used off the shelves. There is
// no way back: what was fitted is not known to be of it.
func (t *tx) takeForBooking(by string, b *fleet.Booking) error {
	for _, x := range slices.SortedStableFunc(slices.Values(b.Work), byShelf) {
		if x.PartID == 0 || x.Quantity <= 0 {
			continue
		}
		at := shelf{part: x.PartID, fleet: b.FleetID, depot: b.DepotID}
		n, _, err := t.lies(at)
		if err == nil {
			err = t.moveStock(at, -min(n, x.Quantity), by, fmt.Sprintf("for booking %d", b.ID))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// takeForCard takes what a job card used off the shelves, as it is closed, and keeps what
// that was: also of parts that were undone before, of which it takes none yet.
func (t *tx) takeForCard(by string, c *fleet.Card, state fleet.CardState) error {
	used, err := t.usedOn(c, state)
	if err != nil {
		return err
	}
	slices.SortStableFunc(used, func(a, b usedItem) int { return byShelf(a.WorkItem, b.WorkItem) })
	for _, x := range used {
		if x.PartID == 0 || x.Quantity <= 0 {
			continue
		}
		at := shelf{part: x.PartID, fleet: c.FleetID, depot: c.DepotID}
		n, counts, err := t.lies(at)
		if err != nil {
			return err
		}
		now := instant(t.db.now())
		took, back := min(n, x.Quantity), any(nil)
		if x.undone {
			took, back = 0, now
		}
		var id int64
		err = t.one([]any{&id}, `
			insert into job_card_stock (card_id, depot_id, axle, part_id, used, quantity, counts, taken_at, put_back_at)
			values `+places(9)+`
			returning id`, c.ID, c.DepotID, x.Axle, x.PartID, x.Quantity, took, counts, now, back)
		if err == nil && len(x.parts) > 0 {
			_, err = t.exec(`update job_card_parts set stock_id = ? where id in `+places(len(x.parts)), append([]any{id}, anys(x.parts)...)...)
		}
		if err == nil {
			err = t.moveStock(at, -took, by, forCard(c.ID))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// byShelf orders work by the shelves of a depot, in which two who empty them wait for
// each other and not both.
func byShelf(a, b fleet.WorkItem) int { return cmp.Compare(a.PartID, b.PartID) }

func forCard(id int64) string { return fmt.Sprintf("for job card %d", id) }

// shelf is where a part lies at a depot.
type shelf struct{ part, fleet, depot int64 }

// lies returns how many lie on a shelf, and how often it was counted, and holds it
// until the transaction ends. A shelf that should hold too few was not counted well.
func (t *tx) lies(at shelf) (n, counts int, err error) {
	if t.db.dialect == Postgres { // the part before its stock, as keepStock
		if _, err := t.exec(`select 1 from stock_parts where id = ? for key share`, at.part); err != nil {
			return 0, 0, err
		}
	}
	err = t.one([]any{&n, &counts}, `select quantity, counts from stock where part_id = ? and depot_id = ?`+t.locking("for update"), at.part, at.depot)
	if errors.Is(err, errNoRows) {
		return 0, 0, nil
	}
	return n, counts, err
}

// moveStock puts n on a shelf that is held, or takes them off it, and tells the log.
func (t *tx) moveStock(at shelf, n int, by, why string) error {
	if n == 0 {
		return nil
	}
	_, err := t.exec(`update stock set quantity = quantity + ? where part_id = ? and depot_id = ?`, n, at.part, at.depot)
	if err != nil {
		return err
	}
	act := "stock put back"
	if n < 0 {
		act, n = "stock taken", -n
	}
	return t.log(entry{act: act, record: "part", id: at.part, fleet: at.fleet, depot: at.depot, by: by, detail: fmt.Sprintf("%d %s", n, why)})
}

// reshelve makes a change that sets a record aside or lets it count again, as c says
// then, and follows where it is a fitment of closed job cards: what they took off the
// shelves for it goes back, or off again. A set of which another part stays on stays
// off, and a shelf that was counted meanwhile stays as it was counted.
func (t *tx) reshelve(sc auth.Scope, rec fleet.Record, c *fleet.Correction, change func() error) error {
	if rec.Kind != fleet.FitmentRecord {
		return change()
	}
	if _, err := t.at(sc, rec, ""); err != nil { // before anything is held
		return err
	}
	closed, err := t.holdCards(rec.ID)
	if err != nil {
		return err
	}
	if err := change(); err != nil || !closed {
		return err
	}
	c.Shelf = fleet.ShelfUntouched
	var moved fleet.Shelf // is told before what stays
	rows, err := t.takenFor(rec.ID)
	if err != nil {
		return err
	}
	for _, x := range rows {
		stands := x.others || c.Act == fleet.Undone
		if stands != x.isBack {
			c.Shelf = fleet.ShelfOfSet
			continue
		}
		n, counts, err := t.lies(x.at)
		if err != nil {
			return err
		}
		move, what := x.follow(n, counts)
		c.Shelf = cmp.Or(what, c.Shelf)
		if move != 0 {
			moved = what
		}
		took, back := x.took, any(instant(t.db.now()))
		if stands {
			back = nil
			if what != fleet.ShelfCounted {
				took = -move
			}
		}
		_, err = t.exec(`update job_card_stock set quantity = ?, put_back_at = ? where id = ?`, took, back, x.id)
		if err == nil {
			err = t.moveStock(x.at, move, c.By, forCard(x.card))
		}
		if err != nil {
			return err
		}
	}
	c.Shelf = cmp.Or(moved, c.Shelf)
	return nil
}

// cardStock is what a closed job card took off a shelf for a set of parts.
type cardStock struct {
	id, card           int64
	number             string // of the part
	used, took, counts int
	at                 shelf
	isBack             bool
	others             bool // another part of the set than the one asked about is fitted
	lies, counted      int  // on the shelf, and how often it was counted: not held
}

// follow says how many come off the shelf again, if the set was put back, or else go
// back onto it, and what that is called; nothing where none move.
func (x *cardStock) follow(lies, counted int) (move int, what fleet.Shelf) {
	move, what = x.took, fleet.ShelfBack
	if x.isBack {
		move, what = -min(lies, x.used), fleet.ShelfOff
	}
	switch {
	case counted != x.counts:
		return 0, fleet.ShelfCounted
	case move == 0:
		return 0, ""
	}
	return move, what
}

// takenFor returns what closed job cards took for the sets that a fitment is of.
func (t *tx) takenFor(fitmentID int64) (rows []cardStock, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var x cardStock
		err := r.Scan(&x.id, &x.card, &x.at.part, &x.number, &x.at.fleet, &x.at.depot, &x.used, &x.took, &x.counts, &x.isBack, &x.others, &x.lies, &x.counted)
		rows = append(rows, x)
		return err
	}, `
		select
			s.id,
			s.card_id,
			s.part_id,
			p.number,
			p.fleet_id,
			s.depot_id,
			s.used,
			s.quantity,
			s.counts,
			s.put_back_at is not null,
			exists (
				select 1
				from job_card_parts x
				join fitments f on f.id = x.fitment_id
				where x.stock_id = s.id and f.id <> ? and f.set_aside_at is null),
			coalesce(k.quantity, 0),
			coalesce(k.counts, 0)
		from job_card_stock s
		join stock_parts p on p.id = s.part_id
		left join stock k on k.part_id = s.part_id and k.depot_id = s.depot_id
		where s.id in (select stock_id from job_card_parts where fitment_id = ?)
		order by s.part_id, s.depot_id, s.id`, fitmentID, fitmentID)
	return rows, err
}

// ShelfMove is what goes back on a shelf, or comes off it.
type ShelfMove struct {
	Number string // of the part
	N      int
}

// shelfAhead says what reshelve is to do where a fitment that counts is set aside, or
// one that was set aside is to count again.
func (t *tx) shelfAhead(fitmentID int64, again bool) (what fleet.Shelf, moves []ShelfMove, err error) {
	var closed bool
	err = t.one([]any{&closed}, `
		select exists (
			select 1
			from job_cards c
			join job_card_parts x on x.card_id = c.id
			where x.fitment_id = ? and c.state <> ?)`, fitmentID, string(fleet.CardOpen))
	if err != nil || !closed {
		return "", nil, err
	}
	rows, err := t.takenFor(fitmentID)
	what = fleet.ShelfUntouched
	var moved fleet.Shelf
	for _, x := range rows {
		if (x.others || again) != x.isBack {
			what = fleet.ShelfOfSet
			continue
		}
		move, is := x.follow(x.lies, x.counted)
		what = cmp.Or(is, what)
		if move != 0 {
			moved, moves = is, append(moves, ShelfMove{x.number, max(move, -move)})
		}
	}
	return cmp.Or(moved, what), moves, err
}

// holdCards holds the job cards that noted a fitment until the transaction ends, so that
// of the parts of a set the last to be undone is seen, and says whether one is closed.
func (t *tx) holdCards(fitmentID int64) (closed bool, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var state fleet.CardState
		err := r.Scan(&state)
		closed = closed || state != fleet.CardOpen
		return err
	}, `
		select state
		from job_cards
		where id in (select card_id from job_card_parts where fitment_id = ?)
		order by id`+t.locking("for update"), fitmentID)
	return closed, err
}

// usedItem is what a job card used of an item, and the parts it noted that are of it.
type usedItem struct {
	fleet.WorkItem
	parts  []int64
	undone bool // all of them
}

// usedOn returns what the job of a card used: of wearing parts those that were
// noted as fitted, by the number noted where that is a part of the fleet, else
// as planned; of the rest all that was planned, when the card was passed.
func (t *tx) usedOn(c *fleet.Card, state fleet.CardState) (used []usedItem, err error) {
	for _, w := range c.Work {
		if w.Item.Part() == "" && state == fleet.CardPassed {
			used = append(used, usedItem{WorkItem: w})
		}
	}
	for _, p := range c.Parts {
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
		i := slices.IndexFunc(used, func(u usedItem) bool { return u.Axle == x.Axle && u.Item == item && u.PartID == x.PartID })
		if i < 0 {
			i = len(used)
			used = append(used, usedItem{WorkItem: x, undone: true})
		}
		used[i].parts = append(used[i].parts, p.ID)
		used[i].undone = used[i].undone && p.Undone != nil
	}
	return used, nil
}
