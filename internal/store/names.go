package store

import (
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// vehicleNames is what a search of vehicles looks in, held in memory: a part of
// a number is found by no index, and reading all vehicles takes a hundred times
// as long as looking through this. What any process wrote since is read before
// each search. The zero value is empty and ready.
type vehicleNames struct {
	now   atomic.Pointer[namesRead]
	whole sync.Mutex // held by the one who reads all
}

// namesRead are the names of all vehicles. Each is as it was in version, or in
// one after. It is never changed.
type namesRead struct {
	version string // of the database; blank = not known, of an SQLite file
	newest  int64  // of an SQLite file: the highest vehicles.written
	many    bool   // more than are held
	text    string // of all vehicles, each with nameEnd after it
	ends    []int  // in text, of each vehicle
	places  []vehiclePlace
	later   map[int64]laterName // of vehicles written since, instead of what text has
}

type vehiclePlace struct{ id, fleet, depot int64 }

type laterName struct {
	vehiclePlace
	search string
}

const (
	// nameEnd divides texts; no text that can be stored holds it.
	nameEnd = "\x00"
	// maxNames is for how many vehicles they are held, at about 100 bytes each.
	// Of more, a search reads the table.
	maxNames = 1_000_000
)

// maxLater is how many vehicles may have been written since all were read, before
// they all are again: few enough to be copied at each write.
var maxLater = 1000

// maxFound is how many vehicles may be asked for by their ids. Of more, a page is
// soon full of any list in its order.
var maxFound = 1000

// found returns the vehicles that sc sees, of a fleet and a depot (0 = of all),
// with text in their names; few is false when they are more than most, or when that
// cannot be known here.
func (t *tx) found(sc auth.Scope, text string, fleetID, depotID int64, most int) (ids []int64, few bool, err error) {
	if key(text) == "" || !storable(text) || t.db.Tentative() {
		return nil, false, nil // a trial sees what nobody else does
	}
	n, err := t.names()
	if err != nil || n == nil || n.many {
		return nil, false, err
	}
	admits := func(p vehiclePlace) bool {
		return (fleetID == 0 || p.fleet == fleetID) && (depotID == 0 || p.depot == depotID) && sc.Sees(p.fleet, p.depot)
	}
	parts := searched(text)
	for _, part := range parts {
		at := 0 // in n.text
		for {
			i := strings.Index(n.text[at:], part)
			if i < 0 {
				break
			}
			v, _ := slices.BinarySearch(n.ends, at+i+1)
			at = n.ends[v]
			p := n.places[v]
			if _, since := n.later[p.id]; since || !admits(p) {
				continue
			}
			if ids = append(ids, p.id); len(ids) > most {
				return nil, false, nil
			}
		}
	}
	for id, l := range n.later {
		if admits(l.vehiclePlace) && slices.ContainsFunc(parts, func(part string) bool { return strings.Contains(l.search, part) }) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	if len(ids) > most {
		return nil, false, nil
	}
	return ids, true, nil
}

// named returns the vehicles that found does, sorted, however many; nil for all when
// there is no text.
func (t *tx) named(sc auth.Scope, text string, fleetID, depotID int64) (ids []int64, err error) {
	if key(text) == "" {
		return nil, nil
	}
	ids, ok, err := t.found(sc, text, fleetID, depotID, math.MaxInt)
	if err != nil || ok {
		return append([]int64{}, ids...), err
	}
	var w where
	w.scope(sc, "v")
	w.only("v.fleet_id", fleetID)
	w.only("v.depot_id", depotID)
	w.text("v.search", text)
	ids = []int64{}
	err = t.each(func(r *sqlx.Rows) error {
		ids = append(ids, 0)
		return r.Scan(&ids[len(ids)-1])
	}, `select v.id from vehicles v`+w.String(), w.args...)
	slices.Sort(ids) // no index has them in this order
	return ids, err
}

// names returns what there is to search in, with all that t sees; nil while
// another reads it: who would wait has searched the table sooner.
func (t *tx) names() (*namesRead, error) {
	held := t.db.names
	was := held.now.Load()
	version := t.version
	if version == "" && t.db.dialect == Postgres {
		var err error
		if version, err = t.snapshot(); err != nil {
			return nil, err
		}
	}
	if was != nil {
		if was.many || version != "" && version == was.version {
			return was, nil
		}
		is, err := t.namesSince(was, version)
		if err != nil {
			return nil, err
		}
		if is != nil {
			held.now.CompareAndSwap(was, is) // or another was first
			return is, nil
		}
	}
	if !held.whole.TryLock() {
		return nil, nil
	}
	defer held.whole.Unlock()
	is, err := t.allNames(version)
	if err == nil {
		held.now.Store(is)
	}
	return is, err
}

// namesSince is was with what was written since; nil when that is too much, or
// cannot be known.
func (t *tx) namesSince(was *namesRead, version string) (*namesRead, error) {
	w, known := t.writtenSince("v.written", was.version, version, was.newest)
	if !known {
		return nil, nil
	}
	is := *was
	is.version, is.later = version, maps.Clone(was.later)
	if is.later == nil {
		is.later = map[int64]laterName{}
	}
	read := 0
	err := t.eachName(w, maxLater+1, func(l laterName, written int64) {
		read++
		is.later[l.id] = l
		is.newest = max(is.newest, written)
	})
	if err != nil || read > maxLater || len(is.later) > maxLater {
		return nil, err
	}
	return &is, nil
}

// allNames reads the names of all vehicles.
func (t *tx) allNames(version string) (*namesRead, error) {
	n := &namesRead{version: version}
	var text strings.Builder
	err := t.eachName(where{}, maxNames+1, func(l laterName, written int64) {
		text.WriteString(l.search)
		text.WriteString(nameEnd)
		n.ends, n.places = append(n.ends, text.Len()), append(n.places, l.vehiclePlace)
		n.newest = max(n.newest, written)
	})
	if n.text, n.many = text.String(), len(n.places) > maxNames; n.many {
		n.text, n.ends, n.places = "", nil, nil
	}
	return n, err
}

// eachName calls fn for the first vehicles v that w admits.
func (t *tx) eachName(w where, limit int, fn func(l laterName, written int64)) error {
	return t.each(func(r *sqlx.Rows) error {
		var l laterName
		var written int64
		if err := r.Scan(&l.id, &l.fleet, &l.depot, &l.search, &written); err != nil {
			return err // a row half read is no row
		}
		fn(l, written)
		return nil
	}, `select v.id, v.fleet_id, v.depot_id, v.search, v.written from vehicles v`+w.String()+` limit ?`, append(w.args, limit)...)
}
