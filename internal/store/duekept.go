package store

import (
	"maps"
	"slices"
	"sync"

	"github.com/jmoiron/sqlx"
)

// dueKept is what was picked from a dueList and read for it, and has not changed
// since: most of what is written touches no page that anybody looks at. Nothing in it
// is changed; it is given up.
type dueKept struct {
	mu    sync.Mutex // of those who look at once; taken after the list's, if both are
	picks map[string]*duePick
	rows  map[AxleKey]dueRowHeld
}

// duePick is a page of a list without its rows.
type duePick struct {
	filter *dueFilter
	keys   []AxleKey
	last   *dueKey // of keys; nil when there are none behind it
	next   string  // cursor; blank when there are none
	behind int     // rows of the pages after
	total  int     // of all pages
}

// dueRowHeld is a row without the names of its fleet and depot.
type dueRowHeld struct {
	DueRow
	fleet, depot int64
}

const (
	// maxDueRows is how many rows are kept, of some 600 bytes.
	maxDueRows = 5000
	// maxDueTouched is how many axles are looked up in each page that is kept, when
	// they were written; for more all pages are given up.
	maxDueTouched = 200
)

// forget gives up the pages, and the rows as well.
func (k *dueKept) forget(rows bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.picks = nil; rows {
		k.rows = nil
	}
}

// pick picks a page from the list, whose lock is held. What is named key stays for
// others, where the list is of the version that f was read in.
func (l *dueList) pick(f *dueFilter, limit int, key, version string) *duePick {
	k := &l.kept
	stays := key != "" && len(f.found) <= maxFound
	if stays {
		k.mu.Lock()
		p := k.picks[key]
		k.mu.Unlock()
		if p != nil && slices.Equal(p.filter.found, f.found) && maps.Equal(p.filter.first, f.first) {
			return p
		}
	}
	p := f.page(&l.dueHeld, limit)
	if stays && version == l.version {
		k.mu.Lock()
		defer k.mu.Unlock()
		if k.picks == nil || len(k.picks) >= maxPages {
			k.picks = map[string]*duePick{}
		}
		k.picks[key] = p
	}
	return p
}

// hear takes what was written since into the list, whose lock is held by the one who
// changes it, and gives up what is kept of that.
func (l *dueList) hear(news *dueHeld) {
	k := &l.kept
	k.mu.Lock()
	defer k.mu.Unlock()
	touched := make([]AxleKey, len(news.axles))
	for i, a := range news.axles {
		touched[i] = AxleKey{news.vehicles[a.vehicle].id, int(a.axle)}
		delete(k.rows, touched[i])
	}
	ofVehicles := slices.ContainsFunc(news.vehicles, func(v dueVehicle) bool { return v.place >= 0 })
	if ofVehicles {
		k.rows = nil
	}
	if ofVehicles || len(touched) > maxDueTouched {
		k.picks = nil
	}
	before := make(map[string]dueTally, len(k.picks))
	for key, p := range k.picks {
		n := p.tally(&l.dueHeld, touched)
		if before[key] = n; n.within {
			delete(k.picks, key)
		}
	}
	l.take(news)
	for key, p := range k.picks {
		was, is := before[key], p.tally(&l.dueHeld, touched)
		more := *p // others may look at it
		more.total += is.all - was.all
		more.behind += is.behind - was.behind
		switch {
		case is.within, p.next != "" && more.behind == 0:
			delete(k.picks, key)
		case is != was:
			k.picks[key] = &more
		}
	}
}

// dueTally is how many of some axles a page's filter admits.
type dueTally struct {
	all, behind int  // behind are on the pages after
	within      bool // one belongs on the page
}

func (p *duePick) tally(l *dueHeld, axles []AxleKey) (n dueTally) {
	vehicle, axle := p.filter.admits(l)
	for _, k := range axles {
		a := l.find(k.VehicleID, int16(k.Axle))
		if a == nil || !vehicle(&l.vehicles[a.vehicle]) || !axle(a) {
			continue
		}
		n.all++
		at := p.filter.key(l, a)
		switch {
		case p.filter.passed(&at):
		case p.last == nil || at.compare(p.last) <= 0:
			n.within = true
		default:
			n.behind++
		}
	}
	return n
}

// dueRows returns the rows of axles, in their order; keep has them stay for others.
func (t *tx) dueRows(keys []AxleKey, keep bool) ([]DueRow, error) {
	found := make(map[AxleKey]dueRowHeld, len(keys))
	l := t.db.due
	if keep = keep && t.version != ""; keep {
		l.kept.mu.Lock()
		for _, k := range keys {
			if r, ok := l.kept.rows[k]; ok {
				found[k] = r
			}
		}
		l.kept.mu.Unlock()
	}
	missing := slices.DeleteFunc(slices.Clone(keys), func(k AxleKey) bool { _, ok := found[k]; return ok })
	if err := t.readDueRows(missing, found); err != nil {
		return nil, err
	}
	if keep && len(missing) > 0 {
		if err := t.keepRows(l, missing, found); err != nil {
			return nil, err
		}
	}
	fleets, depots, err := t.placeNames()
	if err != nil {
		return nil, err
	}
	rows := make([]DueRow, 0, len(keys))
	for _, k := range keys {
		// What was written after this transaction began may not be there yet.
		if r, ok := found[k]; ok {
			r.Fleet, r.Depot = fleets[r.fleet], depots[r.depot]
			rows = append(rows, r.DueRow)
		}
	}
	return rows, nil
}

// keepRows keeps rows that t has read, while the list is of the version that t sees:
// what is written later is heard of later.
func (t *tx) keepRows(l *dueList, keys []AxleKey, rows map[AxleKey]dueRowHeld) (err error) {
	var marks dueMarks
	if t.db.dialect == SQLite {
		// Who asked a file for the version may see what was written after, and have
		// brought up the list with that: t may see less than is held.
		if marks, err = t.dueMarks(); err != nil {
			return err
		}
	}
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.version != t.version || t.db.dialect == SQLite && l.newest != marks {
		return nil
	}
	k := &l.kept
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.rows == nil || len(k.rows) >= maxDueRows {
		k.rows = map[AxleKey]dueRowHeld{}
	}
	for _, key := range keys {
		if r, ok := rows[key]; ok {
			k.rows[key] = r
		}
	}
	return nil
}

// placeNames returns the names of all fleets and depots.
func (t *tx) placeNames() (fleets, depots map[int64]string, err error) {
	names := func(table string) (map[int64]string, error) {
		query := `select p.id, p.name from ` + table + ` p`
		return listed(t, query, nil, func() (map[int64]string, error) {
			of := map[int64]string{}
			err := t.each(func(r *sqlx.Rows) error {
				var id int64
				var name string
				err := r.Scan(&id, &name)
				of[id] = name
				return err
			}, query)
			return of, err
		})
	}
	if fleets, err = names("fleets"); err == nil {
		depots, err = names("depots")
	}
	return fleets, depots, err
}
