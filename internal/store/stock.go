package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// StockParts returns the parts of a fleet (0 = of all), by number, with what
// they fit and how many lie at the depots that sc sees. A fleet's parts are
// seen by who sees any of its depots.
func (db *DB) StockParts(ctx context.Context, sc auth.Scope, fleetID int64) (ps []fleet.StockPart, err error) {
	err = db.read(ctx, "list parts", func(t *tx) error {
		var w where
		w.only("p.fleet_id", fleetID)
		w.fleetOf(sc, "p.fleet_id")
		ps, err = t.stockParts(sc, w, 0)
		return err
	})
	return ps, err
}

// StockPart returns one part.
func (db *DB) StockPart(ctx context.Context, sc auth.Scope, id int64) (p fleet.StockPart, err error) {
	err = db.read(ctx, "read a part", func(t *tx) error {
		var w where
		w.add("p.id = ?", id)
		w.fleetOf(sc, "p.fleet_id")
		ps, err := t.stockParts(sc, w, 0)
		p, err = only(ps, err, "part %d: there is none, or none that you may see", id)
		return err
	})
	return p, err
}

// fleetOf adds that column is a fleet of which sc sees a depot at least.
func (w *where) fleetOf(sc auth.Scope, column string) {
	if sc.All() {
		return
	}
	var seen where
	seen.places(sc, "d.fleet_id", "d.id")
	w.add(column+" in (select d.fleet_id from depots d"+seen.String()+")", seen.args...)
}

// stockParts returns the parts p that w admits, with the stock that sc sees at a depot
// (0 = at all).
func (t *tx) stockParts(sc auth.Scope, w where, depotID int64) (ps []fleet.StockPart, err error) {
	at := map[int64]int{}
	err = t.each(func(r *sqlx.Rows) error {
		var p fleet.StockPart
		err := r.Scan(&p.ID, &p.FleetID, &p.Number, &p.Name, &p.Item, &p.PerAxle, &p.Price, &p.LeadDays)
		at[p.ID] = len(ps)
		ps = append(ps, p)
		return err
	}, `
		select p.id, p.fleet_id, p.number, p.name, p.item, p.per_axle, p.price, p.lead_days
		from stock_parts p`+w.String()+`
		order by p.number_key, p.id`, w.args...)
	if err != nil || len(ps) == 0 {
		return ps, err
	}
	among := `(select p.id from stock_parts p` + w.String() + `)`
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		var f fleet.Fit
		var vehicle *int64
		var number *string
		err := r.Scan(&id, &f.Make, &f.Model, &vehicle, &number, &f.Axle)
		if vehicle != nil {
			f.VehicleID, f.Vehicle = *vehicle, *number
		}
		p := &ps[at[id]]
		p.Fits = append(p.Fits, f)
		return err
	}, `
		select x.part_id, x.make, x.model, x.vehicle_id, v.number, x.axle
		from stock_fits x
		left join vehicles v on v.id = x.vehicle_id
		where x.part_id in `+among+`
		order by x.part_id, x.seq`, w.args...)
	if err != nil {
		return nil, err
	}
	var q where
	q.add("s.part_id in "+among, w.args...)
	q.places(sc, "d.fleet_id", "d.id")
	q.only("s.depot_id", depotID)
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		var s fleet.Stock
		err := r.Scan(&id, &s.DepotID, &s.Depot, &s.Quantity)
		p := &ps[at[id]]
		p.Stock = append(p.Stock, s)
		return err
	}, `
		select s.part_id, s.depot_id, d.name, s.quantity
		from stock s
		join depots d on d.id = s.depot_id`+q.String()+`
		order by s.part_id, d.name_key, d.id`, q.args...)
	return ps, err
}

// SaveStockPart adds a part, or changes the one with p's id: its number, name,
// item, price, lead time and what it fits. Of p's stock it keeps nothing: with it
// the stock is changed as given. Only who sees the whole fleet may.
func (db *DB) SaveStockPart(ctx context.Context, sc auth.Scope, p fleet.StockPart, stock ...StockChange) (id int64, err error) {
	return db.ChangeStockPart(ctx, sc, nil, p, stock...)
}

// ChangeStockPart is SaveStockPart of a part that was old when it was changed, and must
// be that still, but for its shelves (nil = whatever it is).
func (db *DB) ChangeStockPart(ctx context.Context, sc auth.Scope, old *fleet.StockPart, p fleet.StockPart, stock ...StockChange) (id int64, err error) {
	p.Number, p.Name = strings.TrimSpace(p.Number), strings.TrimSpace(p.Name)
	if err := p.Validate(); err != nil {
		return 0, err
	}
	for _, s := range []string{p.Number, p.Name} {
		if !storable(s) {
			return 0, fleet.Invalidf("text %q: it holds bytes that are no text", s)
		}
	}
	err = db.write(ctx, "keep a part", func(t *tx) error {
		if !sc.Sees(p.FleetID, 0) {
			return fleet.NotFoundf("fleet %d: there is none, or none whose parts you may change", p.FleetID)
		}
		if old != nil {
			if err := t.still(old); err != nil {
				return err
			}
		}
		var other int64
		err := t.one([]any{&other}, `select id from stock_parts where fleet_id = ? and number_key = ? and id <> ?`, p.FleetID, key(p.Number), p.ID)
		switch {
		case err == nil:
			return fleet.Conflictf("part number %q: there is one already", p.Number)
		case !errors.Is(err, errNoRows):
			return err
		}
		if id, err = t.saveStockPart(p); err != nil {
			return err
		}
		if err := t.log(entry{act: actKept, record: "part", id: id, fleet: p.FleetID, detail: p.Number}); err != nil {
			return err
		}
		return t.changeStock(sc, id, stock)
	})
	return id, err
}

func (t *tx) saveStockPart(p fleet.StockPart) (id int64, err error) {
	id = p.ID
	if id == 0 {
		err = t.one([]any{&id}, `
			insert into stock_parts (fleet_id, number, number_key, name, item, per_axle, price, lead_days)
			values (?, ?, ?, ?, ?, ?, ?, ?)
			returning id`, p.FleetID, p.Number, key(p.Number), p.Name, string(p.Item), p.PerAxle, p.Price, p.LeadDays)
	} else {
		var n int
		n, err = t.count(`
			update stock_parts
			set number = ?, number_key = ?, name = ?, item = ?, per_axle = ?, price = ?, lead_days = ?
			where id = ? and fleet_id = ?`, p.Number, key(p.Number), p.Name, string(p.Item), p.PerAxle, p.Price, p.LeadDays, id, p.FleetID)
		if err == nil && n == 0 {
			err = fleet.NotFoundf("part %d: there is none, or none that you may change", id)
		}
	}
	if err != nil {
		return 0, err
	}
	if _, err := t.exec(`delete from stock_fits where part_id = ?`, id); err != nil {
		return 0, err
	}
	for i, f := range p.Fits {
		_, err := t.exec(`
			insert into stock_fits (part_id, seq, fleet_id, make, model, vehicle_id, axle)
			values (?, ?, ?, ?, ?, ?, ?)`, id, i, p.FleetID, storableOf(f.Make), storableOf(f.Model), unlessZero(f.VehicleID), f.Axle)
		if err != nil {
			return 0, err
		}
	}
	return id, nil
}

// StockChange is how many of a part lie at a depot, from somebody who was shown
// that Was did. Counted is a count also where the number is what a job left by now;
// otherwise that is a form sent twice.
type StockChange struct {
	DepotID       int64
	Was, Quantity int
	Counted       bool
}

// StockMoved is the conflict of a change with what happened since the number was
// shown.
type StockMoved struct {
	DepotID  int64
	Was, Now int
}

func (e *StockMoved) Error() string {
	return fmt.Sprintf("%d on the shelf by now, not %d: a job or somebody else changed it. Count again, and save", e.Now, e.Was)
}

// Unwrap says of what kind it is.
func (e *StockMoved) Unwrap() error { return fleet.ErrConflict }

// ChangeStock changes how many of a part lie at depots: all of it, or nothing.
// Where a job or somebody else changed the number since it was shown, it stays.
func (db *DB) ChangeStock(ctx context.Context, sc auth.Scope, partID int64, stock ...StockChange) error {
	return db.write(ctx, "change stock", func(t *tx) error { return t.changeStock(sc, partID, stock) })
}

func (t *tx) changeStock(sc auth.Scope, partID int64, stock []StockChange) error {
	// In the order of who takes a parts file in.
	byDepot := func(a, b StockChange) int { return cmp.Compare(a.DepotID, b.DepotID) }
	for _, s := range slices.SortedStableFunc(slices.Values(stock), byDepot) {
		if err := t.keepStock(sc, partID, s, true); err != nil {
			return err
		}
	}
	return nil
}

// SetStock sets how many of a part lie at a depot, whatever was known.
func (db *DB) SetStock(ctx context.Context, sc auth.Scope, partID, depotID int64, quantity int) error {
	return db.write(ctx, "keep stock", func(t *tx) error {
		return t.keepStock(sc, partID, StockChange{DepotID: depotID, Quantity: quantity}, false)
	})
}

// keepStock sets the stock, where it was shown only if it still is what it was.
func (t *tx) keepStock(sc auth.Scope, partID int64, s StockChange, shown bool) error {
	depotID, quantity := s.DepotID, s.Quantity
	if quantity < 0 || quantity > fleet.MaxStock {
		return fleet.Invalidf("stock %d: want 0 to %d", quantity, fleet.MaxStock)
	}
	fleetID, err := t.depotIn(sc, depotID)
	if err != nil {
		return err
	}
	var of int64
	// The part before its stock, as who saves both does.
	err = t.one([]any{&of}, `select fleet_id from stock_parts where id = ?`+t.locking("for key share"), partID)
	if errors.Is(err, errNoRows) || err == nil && of != fleetID {
		return fleet.NotFoundf("part %d: there is none in this depot's fleet", partID)
	}
	if err != nil {
		return err
	}
	if shown {
		kept, err := t.lockedStock(fleetID, partID, depotID, s.Was, quantity)
		if err != nil {
			return err
		}
		if kept && !s.Counted {
			t.unchanged()
			return nil
		}
	}
	if _, err := t.setStock(fleetID, partID, depotID, quantity); err != nil {
		return err
	}
	return t.log(entry{act: "stock set", record: "part", id: partID, fleet: fleetID, depot: depotID, detail: strconv.Itoa(quantity)})
}

// lockedStock holds the stock as it is until the transaction ends, and refuses to
// go on where it is neither was nor, as after a form that was sent twice, quantity: kept.
func (t *tx) lockedStock(fleetID, partID, depotID int64, was, quantity int) (kept bool, err error) {
	if t.db.dialect == Postgres {
		// A row that is not there yet could not be held.
		_, err := t.exec(`
			insert into stock (part_id, depot_id, fleet_id, quantity)
			values (?, ?, ?, 0)
			on conflict (part_id, depot_id) do nothing`, partID, depotID, fleetID)
		if err != nil {
			return false, err
		}
	}
	now := 0
	err = t.one([]any{&now}, `select quantity from stock where part_id = ? and depot_id = ?`+t.locking("for update"), partID, depotID)
	if err != nil && !errors.Is(err, errNoRows) {
		return false, err
	}
	if now != was && now != quantity {
		return false, &StockMoved{depotID, was, now}
	}
	return now != was, nil
}

// setStock keeps what was counted on a shelf; it says whether that is another number.
func (t *tx) setStock(fleetID, partID, depotID int64, quantity int) (changed bool, err error) {
	n, err := t.count(`
		insert into stock (part_id, depot_id, fleet_id, quantity, counts)
		values (?, ?, ?, ?, 1)
		on conflict (part_id, depot_id) do update set quantity = excluded.quantity, counts = stock.counts + 1
		where stock.quantity <> excluded.quantity`, partID, depotID, fleetID, quantity)
	if err == nil && n == 0 {
		_, err = t.exec(`update stock set counts = counts + 1 where part_id = ? and depot_id = ?`, partID, depotID)
	}
	return n > 0, err
}

// StockEntry is a row of a parts file: a part, at most one thing that it fits,
// and at most one depot's stock.
type StockEntry struct {
	Fleet string // name; blank where there is one fleet
	Part  fleet.StockPart
	Depot string // whose stock it gives; blank = none
	Stock *int
	Fit   *fleet.Fit // its vehicle, if any, by id
	Given struct {
		Price, LeadDays, PerAxle bool // the row says it; otherwise what is known stays
	}
}

// StockParts adds parts or changes those of the same number, adds what a row
// says they fit, and sets the stock it gives. A blank keeps what is known.
func (w *Writer) StockParts(es []StockEntry) (c Counts, err error) {
	defer w.end("store parts", &err)
	if err := w.holdStock(es); err != nil {
		return c, err
	}
	for i := range es {
		if err := w.stockPart(&es[i], &c); err != nil {
			return c, err
		}
	}
	return c, nil
}

// holdStock holds what there is of the parts of rows and of their stock until the
// transaction ends: in the order of who empties shelves, and not in the file's.
func (w *Writer) holdStock(es []StockEntry) error {
	t := w.t
	if t.db.dialect != Postgres {
		return nil
	}
	numbers := map[int64][]string{} // of fleets
	for i := range es {
		fleetID, err := w.knownFleet(es[i].Fleet)
		if err != nil {
			return err
		}
		numbers[fleetID] = append(numbers[fleetID], key(es[i].Part.Number))
	}
	var ids []int64
	for fleetID, of := range numbers {
		slices.Sort(of)
		for some := range slices.Chunk(slices.Compact(of), roundVehicles) {
			err := t.each(func(r *sqlx.Rows) error {
				var id int64
				err := r.Scan(&id)
				ids = append(ids, id)
				return err
			}, `select id from stock_parts where fleet_id = ? and number_key in `+places(len(some)), append([]any{fleetID}, anys(some)...)...)
			if err != nil {
				return err
			}
		}
	}
	slices.Sort(ids)
	for _, hold := range []string{
		`select 1 from stock_parts where id in %s order by id for no key update`,
		`select 1 from stock where part_id in %s order by part_id, depot_id for update`,
	} {
		for some := range slices.Chunk(ids, roundVehicles) {
			if _, err := t.exec(fmt.Sprintf(hold, places(len(some))), anys(some)...); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *Writer) stockPart(e *StockEntry, c *Counts) error {
	fleetID, err := w.knownFleet(e.Fleet)
	if err != nil {
		return err
	}
	p := e.Part
	p.FleetID = fleetID
	var q where
	q.add("p.fleet_id = ?", fleetID)
	q.add("p.number_key = ?", key(p.Number))
	known, err := w.t.stockParts(auth.AllFleets(), q, 0)
	if err != nil {
		return err
	}
	isNew, changed := len(known) == 0, false
	if !isNew {
		old := &known[0]
		p.ID, p.Fits = old.ID, slices.Clone(old.Fits)
		p.Number = old.Number
		p.Name = cmp.Or(p.Name, old.Name)
		p.Item = cmp.Or(p.Item, old.Item)
		if !e.Given.Price {
			p.Price = old.Price
		}
		if !e.Given.LeadDays {
			p.LeadDays = old.LeadDays
		}
		if !e.Given.PerAxle {
			p.PerAxle = old.PerAxle
		}
		changed = p.Name != old.Name || p.Item != old.Item || p.LeadDays != old.LeadDays || p.PerAxle != old.PerAxle ||
			(p.Price == nil) != (old.Price == nil) || p.Price != nil && *p.Price != *old.Price
	}
	if e.Fit != nil && !slices.ContainsFunc(p.Fits, func(f fleet.Fit) bool {
		return strings.EqualFold(f.Make, e.Fit.Make) && strings.EqualFold(f.Model, e.Fit.Model) && f.VehicleID == e.Fit.VehicleID && f.Axle == e.Fit.Axle
	}) {
		p.Fits = append(p.Fits, *e.Fit)
		changed = true
	}
	if isNew || changed {
		if !w.sc.Sees(fleetID, 0) {
			return fleet.NotFoundf("part %q: you may set its stock, not change what it is", p.Number)
		}
		if err := p.Validate(); err != nil {
			return err
		}
		if p.ID, err = w.t.saveStockPart(p); err != nil {
			return err
		}
	}
	if e.Stock != nil {
		depotID, err := w.depotID(fleetID, e.Depot)
		if err != nil {
			return err
		}
		if err := w.place(fleetID, depotID); err != nil {
			return err
		}
		set, err := w.t.setStock(fleetID, p.ID, depotID, *e.Stock)
		if err != nil {
			return err
		}
		if set {
			err := w.t.log(entry{act: "stock set", record: "part", id: p.ID, fleet: fleetID, depot: depotID, detail: fmt.Sprintf("%d, upload %d", *e.Stock, w.upload)})
			if err != nil {
				return err
			}
		}
		changed = changed || set
	}
	switch {
	case isNew:
		c.Added++
	case changed:
		c.Changed++
	default:
		c.Repeated++
	}
	return nil
}

// knownFleet returns the id of a fleet that is there: by name, or the only one
// that the sender sees.
func (w *Writer) knownFleet(name string) (id int64, err error) {
	if id, ok := w.fleets[key(name)]; ok {
		return id, nil
	}
	var q where
	q.fleetOf(w.sc, "f.id")
	if key(name) != "" {
		q.add("f.name_key = ?", key(name))
	}
	var ids []int64
	err = w.t.each(func(r *sqlx.Rows) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	}, `select f.id from fleets f`+q.String()+` order by f.id limit 2`, q.args...)
	switch {
	case err != nil:
		return 0, err
	case len(ids) == 0:
		return 0, fleet.NotFoundf("fleet %q: there is none, or none that you may change", name)
	case len(ids) > 1:
		return 0, fleet.Invalidf("there are several fleets: add a column fleet that says whose parts these are")
	}
	w.fleets[key(name)] = ids[0]
	return ids[0], nil
}
