package store

import (
	"fmt"
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
	finds   *finds              // in these names
}

// finds are what was searched for and found, sorted.
type finds struct {
	mu   sync.Mutex
	of   map[string][]int64
	cost int
}

// maxFinds bounds what is kept of what was found: ids of 8 bytes, and what they were
// found by.
const maxFinds = 1_000_000

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
	n, err := t.searchable(text)
	if err != nil || n == nil {
		return nil, false, err
	}
	ids, few = n.find(sc, text, fleetID, depotID, most)
	return ids, few, nil
}

// searchable returns names to look for text in; nil where a search reads the table.
func (t *tx) searchable(text string) (*namesRead, error) {
	if key(text) == "" || !storable(text) || t.db.Tentative() {
		return nil, nil // a trial sees what nobody else does
	}
	n, err := t.names()
	if err != nil || n == nil || n.many {
		return nil, err
	}
	return n, nil
}

// find is found in these names.
func (n *namesRead) find(sc auth.Scope, text string, fleetID, depotID int64, most int) (ids []int64, few bool) {
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
				return nil, false
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
		return nil, false
	}
	return ids, true
}

// named returns the vehicles that found does, sorted, however many; nil for all when
// there is no text. They are everybody's; keep says that they are few, or stay here.
func (t *tx) named(sc auth.Scope, text string, fleetID, depotID int64) (ids []int64, keep bool, err error) {
	if key(text) == "" {
		return nil, true, nil
	}
	n, err := t.searchable(text)
	if err != nil {
		return nil, false, err
	}
	if n != nil {
		ids, keep = n.named(sc, text, fleetID, depotID)
		return ids, keep, nil
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
	return ids, len(ids) <= maxFound, err
}

func (n *namesRead) named(sc auth.Scope, text string, fleetID, depotID int64) (ids []int64, keep bool) {
	var w where
	w.scope(sc, "v")
	key := fmt.Sprintf("%s %v %d %d %s", w.String(), w.args, fleetID, depotID, text)
	n.finds.mu.Lock()
	ids, keep = n.finds.of[key]
	n.finds.mu.Unlock()
	if keep {
		return ids, true
	}
	ids, _ = n.find(sc, text, fleetID, depotID, math.MaxInt)
	ids = append([]int64{}, ids...) // none is not all, and there is no room behind
	cost := len(ids) + len(key)
	n.finds.mu.Lock()
	defer n.finds.mu.Unlock()
	if cost > maxFinds {
		return ids, false
	}
	if n.finds.of == nil || n.finds.cost+cost > maxFinds { // those in use are soon there again
		n.finds.of, n.finds.cost = map[string][]int64{}, 0
	}
	n.finds.of[key] = ids
	n.finds.cost += cost
	return ids, true
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
	is.version = version
	read := 0
	err := t.eachName(w, maxLater+1, func(l laterName, written int64) {
		if read++; read == 1 {
			is.finds, is.later = &finds{}, map[int64]laterName{}
			maps.Copy(is.later, was.later)
		}
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
	n := &namesRead{version: version, finds: &finds{}}
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
