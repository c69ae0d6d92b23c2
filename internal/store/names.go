package store

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// vehicleNames is what a search of vehicles looks in, held in memory: a part of
// a number is found by no index, and reading all vehicles takes a hundred times
// as long as looking through this. It is read again after any vehicle was written,
// by whichever process. The zero value is empty and ready.
type vehicleNames struct {
	mu     sync.Mutex
	mark   string // of the changes that it has seen
	many   bool   // more than are held
	text   string // of all vehicles, each with nameEnd after it
	ends   []int  // in text, of each vehicle
	places []vehiclePlace
}

type vehiclePlace struct{ id, fleet, depot int64 }

const (
	// nameEnd divides texts; no text that can be stored holds it.
	nameEnd = "\x00"
	// maxNames is for how many vehicles they are held, at about 100 bytes each.
	// Of more, a search reads the table.
	maxNames = 1_000_000
)

// maxFound is how many vehicles may be asked for by their ids. Of more, a page is
// soon full of any list in its order.
var maxFound = 1000

// found returns the vehicles that sc sees, of a fleet and a depot (0 = of all),
// with text in their names; few is false when they are too many to be asked for
// by their ids, or when that cannot be known here.
func (t *tx) found(sc auth.Scope, text string, fleetID, depotID int64) (ids []int64, few bool, err error) {
	if key(text) == "" || !storable(text) || t.db.Tentative() {
		return nil, false, nil // a trial sees what nobody else does
	}
	n := t.db.names
	n.mu.Lock()
	defer n.mu.Unlock()
	if err := n.refresh(t); err != nil || n.many {
		return nil, false, err
	}
	for _, part := range searched(text) {
		at := 0 // in n.text
		for {
			i := strings.Index(n.text[at:], part)
			if i < 0 {
				break
			}
			v, _ := slices.BinarySearch(n.ends, at+i+1)
			at = n.ends[v]
			if p := n.places[v]; (fleetID == 0 || p.fleet == fleetID) && (depotID == 0 || p.depot == depotID) && sees(sc, p.fleet, p.depot) {
				if ids = append(ids, p.id); len(ids) > maxFound {
					return nil, false, nil
				}
			}
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids), true, nil
}

// refresh reads the names again if any vehicle was written since.
func (n *vehicleNames) refresh(t *tx) error {
	var count, sum int64
	// Rows come in any order that transactions end in: the newest tells too little.
	if err := t.one([]any{&count, &sum}, `select count(*), CAST(coalesce(sum(id), 0) AS bigint) from vehicle_changes`); err != nil {
		return err
	}
	mark := fmt.Sprintf("%d %d", count, sum)
	if mark == n.mark {
		return nil
	}
	n.mark = ""
	var text strings.Builder
	n.ends, n.places = n.ends[:0], n.places[:0]
	err := t.each(func(r *sqlx.Rows) error {
		var p vehiclePlace
		var search string
		err := r.Scan(&p.id, &p.fleet, &p.depot, &search)
		text.WriteString(search)
		text.WriteString(nameEnd)
		n.ends, n.places = append(n.ends, text.Len()), append(n.places, p)
		return err
	}, `select v.id, v.fleet_id, v.depot_id, v.search from vehicles v limit ?`, maxNames+1)
	if err != nil {
		return err
	}
	if n.text, n.many = text.String(), len(n.places) > maxNames; n.many {
		n.text, n.ends, n.places = "", nil, nil
	}
	n.mark = mark
	return nil
}

// onlyOf narrows vehicles, nil for all, to those of ids.
func onlyOf(vehicles, ids []int64) []int64 {
	if vehicles == nil {
		return slices.Clip(append([]int64{}, ids...))
	}
	return slices.DeleteFunc(slices.Clone(vehicles), func(id int64) bool {
		_, ok := slices.BinarySearch(ids, id)
		return !ok
	})
}
