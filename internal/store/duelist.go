package store

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// dueList is what the due-soon list is filtered and ordered by, of every axle that
// has a forecast, held in memory: no index serves each filter in each order, and
// counting in the table takes a hundred times as long as looking through this. What
// any process wrote since is read before each look; the rows of a page are then read
// by their keys. An axle is as it was in version, or after.
type dueList struct {
	turn chan struct{} // of the one who reads what was written since

	mu sync.RWMutex // of all below; who changes it has the turn as well
	dueHeld
	read    bool   // something is held
	version string // of the database; blank = not known
	kept    dueKept
	whole   chan struct{} // closed when all that is being read has been; nil = nothing is
}

type dueHeld struct {
	newest   dueMarks
	vehicles []dueVehicle
	at       map[int64]int32 // in vehicles, by id
	axles    []dueAxle       // by vehicle's id and axle
	todays   [2]fleet.Date   // that dueAxle.moved is of; 0 = none

	places numbered[duePlace]
	duties numbered[string]
	parts  numbered[fleet.Part]
}

// dueMarks are the highest vehicles.written and axle_forecasts.written that were read.
type dueMarks struct{ vehicle, axle int64 }

type duePlace struct{ fleet, depot int64 }

type dueVehicle struct {
	id      int64
	sortKey string
	place   int32 // -1 = nothing but the id is known
	duty    int32
}

// dueAxle is of an axle_forecasts: 48 bytes, of which a large fleet has a million.
type dueAxle struct {
	byKm, byThickness, byNarrowing float64
	byDue, byLimit                 fleet.Date
	vehicle                        int32 // in dueHeld.vehicles
	axle                           int16
	part                           uint8
	left                           int8     // in LeftClasses; -1 = not measured
	moved                          [2]uint8 // the bits of Shifts, for each of todays
}

// numbered are values of which there are few, each with a number.
type numbered[T comparable] struct {
	values []T
	of     map[T]int32
}

func (n *numbered[T]) number(v T) int32 {
	i, ok := n.of[v]
	if !ok {
		if n.of == nil {
			n.of = map[T]int32{}
		}
		i = int32(len(n.values))
		n.values, n.of[v] = append(n.values, v), i
	}
	return i
}

func newDueList() *dueList {
	return &dueList{turn: make(chan struct{}, 1)}
}

// maxDueNews is how many axles may have been written since the list was read, before
// all of it is read again: that holds it twice for a moment, and takes a second.
var maxDueNews = 20_000

// withDue calls use with the list, which has all that t sees, and what moved since
// the month before today, unless that is 0. It stays as it is until use returns.
func (t *tx) withDue(today fleet.Date, use func(l *dueList) error) error {
	l := t.db.due
	if t.db.Tentative() { // sees what nobody else does
		l = newDueList()
	}
	if t.version != "" { // most have nothing to wait for
		if done, err := l.look(t.version, today, use); done || err != nil {
			return err
		}
	}
	for {
		version, err := t.bringUp(l, today)
		if err != nil {
			return err
		}
		if done, err := l.look(version, today, use); done || err != nil {
			return err
		}
		// Others have asked for the moves of two more days meanwhile, or of an older
		// version.
	}
}

func (l *dueList) look(version string, today fleet.Date, use func(l *dueList) error) (done bool, err error) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if version != "" && !covers(l.version, version) || today != 0 && !slices.Contains(l.todays[:], today) {
		return false, nil
	}
	return true, use(l)
}

// AwaitDue waits while all of the due-soon list is being read, unless it is called
// within a transaction: who waits there keeps others from reading anything.
func (db *DB) AwaitDue(ctx context.Context) error {
	if db.within != nil {
		return nil
	}
	db.due.mu.RLock()
	whole := db.due.whole
	db.due.mu.RUnlock()
	if whole == nil {
		return nil
	}
	select {
	case <-whole:
		return nil
	case <-ctx.Done():
		return wrap(ctx, "list what is due", ctx.Err())
	}
}

// WarmDue reads the due-soon list, with what moved since the month before today, so
// that who asks for it next need not wait for that.
func (db *DB) WarmDue(ctx context.Context, today fleet.Date) error {
	return db.readKeeping(ctx, "read ahead what is due", func(t *tx) error {
		if err := t.withDue(today, func(*dueList) error { return nil }); err != nil {
			return err
		}
		if _, err := t.names(); err != nil {
			return err
		}
		_, err := t.plan()
		return err
	})
}

// reading has others wait until done: see AwaitDue. The one has the turn.
func (l *dueList) reading() (done func()) {
	whole := make(chan struct{})
	set := func(to chan struct{}) {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.whole = to
	}
	set(whole)
	return func() {
		set(nil)
		close(whole)
	}
}

// bringUp reads what was written since the list was read, and returns the version
// that t sees. Who has the turn reads the list without its lock.
func (t *tx) bringUp(l *dueList, today fleet.Date) (version string, err error) {
	select {
	case l.turn <- struct{}{}:
	case <-t.ctx.Done():
		return "", t.ctx.Err()
	}
	defer func() { <-l.turn }()
	version = t.version
	if version == "" && t.db.dialect == Postgres {
		if version, err = t.snapshot(); err != nil {
			return "", err
		}
	}
	if !covers(l.version, version) {
		if err := t.readDueSince(l, version); err != nil {
			return "", err
		}
	}
	if today == 0 || slices.Contains(l.todays[:], today) {
		return version, nil
	}
	return version, t.readMoves(l, version, today)
}

// readDueSince reads what was written since the list was read, or all of it.
func (t *tx) readDueSince(l *dueList, version string) error {
	news := &dueHeld{todays: l.todays}
	if l.read {
		ofVehicles, known := t.writtenSince("v.written", l.version, version, l.newest.vehicle)
		ofAxles, _ := t.writtenSince("c.written", l.version, version, l.newest.axle)
		if known {
			all, err := t.readDue(news, ofVehicles, ofAxles, maxDueNews)
			if err != nil {
				return err
			}
			if all {
				l.mu.Lock()
				defer l.mu.Unlock()
				l.hear(news)
				l.version = cmp.Or(version, l.version)
				return nil
			}
		}
	}
	defer l.reading()()
	news = &dueHeld{} // moves are read when they are asked for
	if _, err := t.readDue(news, where{}, where{}, 0); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.dueHeld, l.version, l.read = *news, version, true
	l.kept.forget(true)
	return nil
}

// readDue reads the vehicles v and axle_forecasts c that are admitted into an empty
// list, with the moves of its todays; all is false when there are more than most
// (0 = as many as there are).
func (t *tx) readDue(l *dueHeld, ofVehicles, ofAxles where, most int) (all bool, err error) {
	limit := ""
	if most > 0 {
		limit = " limit ?"
		ofVehicles.args, ofAxles.args = append(ofVehicles.args, most+1), append(ofAxles.args, most+1)
	}
	l.at = map[int64]int32{}
	err = t.each(func(r *sqlx.Rows) error {
		var v dueVehicle
		var place duePlace
		var duty string
		var written int64
		if err := r.Scan(&v.id, &place.fleet, &place.depot, &duty, &v.sortKey, &written); err != nil {
			return err
		}
		v.place, v.duty = l.places.number(place), l.duties.number(duty)
		l.at[v.id] = int32(len(l.vehicles))
		l.vehicles = append(l.vehicles, v)
		l.newest.vehicle = max(l.newest.vehicle, written)
		return nil
	}, `select v.id, v.fleet_id, v.depot_id, v.duty, v.sort_key, v.written from vehicles v`+ofVehicles.String()+limit, ofVehicles.args...)
	if err != nil || most > 0 && len(l.vehicles) > most {
		return false, err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var a dueAxle
		var id, written int64
		var part fleet.Part
		err := r.Scan(&id, &a.axle, &part, &a.left, &a.byDue, &a.byLimit, &a.byKm, &a.byThickness, &a.byNarrowing, &written)
		if err != nil {
			return err
		}
		var ok bool
		if a.vehicle, ok = l.at[id]; !ok {
			a.vehicle = int32(len(l.vehicles))
			l.at[id] = a.vehicle
			l.vehicles = append(l.vehicles, dueVehicle{id: id, place: -1})
		}
		a.part = uint8(l.parts.number(part))
		l.axles = append(l.axles, a)
		l.newest.axle = max(l.newest.axle, written)
		return nil
	}, `
		select
			c.vehicle_id,
			c.axle,
			c.part,
			case when `+measured+` then `+leftClassSQL+` else -1 end,
			c.by_due,
			c.by_limit,
			c.by_km,
			c.by_thickness,
			c.by_narrowing,
			c.written
		from axle_forecasts c`+ofAxles.String()+limit, ofAxles.args...)
	if err != nil || most > 0 && len(l.axles) > most {
		return false, err
	}
	l.sort()
	if most > 0 {
		ofAxles.args = ofAxles.args[:len(ofAxles.args)-1]
	}
	for k, today := range l.todays {
		if today == 0 || len(l.axles) == 0 {
			continue
		}
		if err := t.eachMove(today, ofAxles, func(id int64, axle int16, bits uint8) {
			if a := l.find(id, axle); a != nil {
				a.moved[k] = bits
			}
		}); err != nil {
			return false, err
		}
	}
	return true, nil
}

// dueMarks returns the highest marks that t sees.
func (t *tx) dueMarks() (m dueMarks, err error) {
	err = t.one([]any{&m.vehicle, &m.axle}, `
		select
			coalesce((select max(v.written) from vehicles v), 0),
			coalesce((select max(c.written) from axle_forecasts c), 0)`)
	return m, err
}

// readMoves reads what moved since the month before today, in place of the moves of
// an older day. They are of the version that t sees: if the list was of a later one, it
// is no more, and what was written between is read again.
func (t *tx) readMoves(l *dueList, version string, today fleet.Date) error {
	k := 0
	if l.todays[1] < l.todays[0] {
		k = 1
	}
	bits := make([]uint8, len(l.axles))
	err := t.eachMove(today, where{}, func(id int64, axle int16, b uint8) {
		if i, ok := l.search(id, axle); ok { // of a later version, there may be more
			bits[i] = b
		}
	})
	if err != nil {
		return err
	}
	marks, err := t.dueMarks()
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.version = version
	l.newest = dueMarks{min(l.newest.vehicle, marks.vehicle), min(l.newest.axle, marks.axle)}
	l.todays[k] = today
	l.kept.forget(false) // some may be of the moves that are given up
	for i := range l.axles {
		l.axles[i].moved[k] = bits[i]
	}
	return nil
}

// eachMove calls fn for the measured axles c that w admits of which a forecast of
// the month before today was kept, with the bits of the Shifts that they made.
func (t *tx) eachMove(today fleet.Date, w where, fn func(vehicleID int64, axle int16, bits uint8)) error {
	var bits []string
	for i, m := range Shifts {
		now, with := shiftSQL(m, today)
		bits = append(bits, "case when "+now+" and "+with+" then "+strconv.Itoa(1<<i)+" else 0 end")
	}
	w.add(measured)
	return t.each(func(r *sqlx.Rows) error {
		var id int64
		var axle int16
		var b uint8
		if err := r.Scan(&id, &axle, &b); err != nil {
			return err
		}
		fn(id, axle, b)
		return nil
	}, `
		select c.vehicle_id, c.axle, `+strings.Join(bits, " + ")+`
		from axle_forecasts c
		`+t.joinThen()+w.String(), append(trendDays(today), w.args...)...)
}

func (l *dueHeld) sort() {
	slices.SortFunc(l.axles, func(a, b dueAxle) int {
		return cmp.Or(cmp.Compare(l.vehicles[a.vehicle].id, l.vehicles[b.vehicle].id), cmp.Compare(a.axle, b.axle))
	})
}

// insert puts axles that were not there, in their order, between the others.
func (l *dueHeld) insert(more []dueAxle) {
	end := len(l.axles)
	l.axles = append(l.axles, more...)        // room for them
	for k, a := range slices.Backward(more) { // what is behind each is moved once
		i, _ := l.searchIn(l.axles[:end], l.vehicles[a.vehicle].id, a.axle)
		copy(l.axles[i+k+1:], l.axles[i:end])
		l.axles[i+k], end = a, i
	}
}

// search returns where an axle is, or would be.
func (l *dueHeld) search(vehicleID int64, axle int16) (i int, ok bool) {
	return l.searchIn(l.axles, vehicleID, axle)
}

func (l *dueHeld) searchIn(axles []dueAxle, vehicleID int64, axle int16) (i int, ok bool) {
	return slices.BinarySearchFunc(axles, axle, func(a dueAxle, axle int16) int {
		return cmp.Or(cmp.Compare(l.vehicles[a.vehicle].id, vehicleID), cmp.Compare(a.axle, axle))
	})
}

func (l *dueHeld) find(vehicleID int64, axle int16) *dueAxle {
	if i, ok := l.search(vehicleID, axle); ok {
		return &l.axles[i]
	}
	return nil
}

// take puts what was written since, of the same todays, into the list.
func (l *dueHeld) take(news *dueHeld) {
	slot := make([]int32, len(news.vehicles))
	for i, v := range news.vehicles {
		at, ok := l.at[v.id]
		if !ok {
			at = int32(len(l.vehicles))
			l.at[v.id] = at
			l.vehicles = append(l.vehicles, dueVehicle{id: v.id, place: -1})
		}
		slot[i] = at
		if v.place >= 0 {
			v.place = l.places.number(news.places.values[v.place])
			v.duty = l.duties.number(news.duties.values[v.duty])
			l.vehicles[at] = v
		}
	}
	var more []dueAxle
	for _, a := range news.axles {
		a.vehicle = slot[a.vehicle]
		a.part = uint8(l.parts.number(news.parts.values[a.part]))
		if there := l.find(l.vehicles[a.vehicle].id, a.axle); there != nil {
			*there = a
		} else {
			more = append(more, a)
		}
	}
	l.insert(more)
	l.newest.vehicle = max(l.newest.vehicle, news.newest.vehicle)
	l.newest.axle = max(l.newest.axle, news.newest.axle)
}
