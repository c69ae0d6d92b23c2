package store

import (
	"maps"
	"slices"
	"sync"

	"brakewear/forecast"
)

// dueKept is what was picked from a dueList and read for it, and has not changed
// since: most of what is written touches no page that anybody looks at. Nothing in it
// is changed; it is given up.
type dueKept struct {
	mu    sync.Mutex // of those who look at once; taken after the list's, if both are
	picks map[string]*duePick
	plan  *duePlan // that picks are of, where bookings are asked about
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

// dueRowHeld is a row without what is in a duePlan.
type dueRowHeld struct {
	DueRow
	fleet, depot int64
	waits        bool // what it costs to wait with it can be said
	heavy        bool // the vehicle
	day          forecast.Dist
}

const (
	// maxDueRows is how many rows are kept, of some 1000 bytes.
	maxDueRows = 10_000
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
	stays := key != "" && f.keep
	if stays {
		k.mu.Lock()
		if f.plan != nil && f.plan != k.plan {
			maps.DeleteFunc(k.picks, func(_ string, p *duePick) bool { return p.filter.plan != nil })
			k.plan = f.plan
		}
		p := k.picks[key]
		k.mu.Unlock()
		if p != nil && p.filter.plan == f.plan && sameIDs(p.filter.found, f.found) {
			return p
		}
	}
	p := f.page(&l.dueHeld, limit)
	if stays && version == l.version {
		k.mu.Lock()
		defer k.mu.Unlock()
		if f.plan != k.plan && f.plan != nil {
			return p // there is a newer one
		}
		if k.picks == nil || len(k.picks) >= maxPages {
			k.picks = map[string]*duePick{}
		}
		k.picks[key] = p
	}
	return p
}

// sameIDs compares what was found, which is most often the same slice.
func sameIDs(a, b []int64) bool {
	return (a == nil) == (b == nil) && len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0] || slices.Equal(a, b))
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
	vehicle, axle := p.filter.admits(l, func(place int32) bool { return p.filter.sees(l, place) })
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

// dueRows returns the rows of axles, in their order, with what is planned; keep has
// them stay for others.
func (t *tx) dueRows(keys []AxleKey, plan *duePlan, keep bool) ([]DueRow, error) {
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
	rows := make([]DueRow, 0, len(keys))
	for _, k := range keys {
		// What was written after this transaction began may not be there yet.
		if r, ok := found[k]; ok {
			rows = append(rows, plan.fill(&r))
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
	if k.rows == nil {
		k.rows = map[AxleKey]dueRowHeld{}
	}
	for key := range k.rows { // any: those in use are soon there again
		if len(k.rows)+len(keys) <= maxDueRows {
			break
		}
		delete(k.rows, key)
	}
	for _, key := range keys {
		if r, ok := rows[key]; ok {
			k.rows[key] = r
		}
	}
	return nil
}
