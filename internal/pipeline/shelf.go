package pipeline

import (
	"context"
	"errors"
	"iter"
	"slices"
	"sync"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// shelfRows bounds a shelf: some 50 MB, which are about 11,000 vehicles measured for
// years. Judgement: a quarter of what the program's own data are kept within, while
// it learns; no more is read of a larger fleet for it, only again.
const shelfRows = 1 << 21

// shelf keeps vehicles that a refit learns from, packed, for its next rounds: to read
// one takes a good part of the time of listening to it, and a model listens several times.
type shelf struct {
	mu    sync.Mutex
	left  int // rows that still fit
	full  bool
	at    map[int64]*shelved // by id
	kinds []shelfKind
	known map[shelfKind]int32
}

func newShelf(rows int) *shelf {
	return &shelf{left: rows, at: map[int64]*shelved{}, known: map[shelfKind]int32{}}
}

// shelved is a vehicle without readings and fitments, and those of its axles.
type shelved struct {
	rest               forecast.Vehicle
	readings, fitments [][]shelfRow
}

// shelfRow is a reading or a fitment.
type shelfRow struct {
	day    forecast.Day
	kind   int32
	km, mm float64
}

// shelfKind is what readings have in common with many others.
type shelfKind struct {
	pos     forecast.Position
	step    float64
	depot   string
	tripped bool
}

func (s *shelf) kind(k shelfKind) int32 {
	n, ok := s.known[k]
	if !ok {
		n = int32(len(s.kinds))
		s.known[k] = n
		s.kinds = append(s.kinds, k)
	}
	return n
}

// restRows is about what the rest of a vehicle takes, in rows.
const restRows = 64

// keep puts a vehicle on the shelf unless it is full. It is full for all once one did
// not fit: what is missing is then missing in one piece, and read in a few rounds.
func (s *shelf) keep(id int64, v *forecast.Vehicle) {
	rows := restRows + len(v.Odometer)
	for i := range v.Axles {
		rows += len(v.Axles[i].Readings) + len(v.Axles[i].Fitments)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.full = s.full || rows > s.left; s.full {
		return
	}
	s.left -= rows
	p := &shelved{rest: *v, readings: make([][]shelfRow, len(v.Axles)), fitments: make([][]shelfRow, len(v.Axles))}
	p.rest.Odometer = slices.Clone(v.Odometer) // as long as it is
	p.rest.Axles = slices.Clone(v.Axles)
	for i := range p.rest.Axles {
		a := &p.rest.Axles[i]
		p.readings[i] = make([]shelfRow, len(a.Readings))
		for j, r := range a.Readings {
			p.readings[i][j] = shelfRow{r.Day, s.kind(shelfKind{r.Pos, r.Step, r.Depot, r.Tripped}), r.Km, r.MM}
		}
		p.fitments[i] = make([]shelfRow, len(a.Fitments))
		for j, f := range a.Fitments {
			p.fitments[i][j] = shelfRow{f.Day, s.kind(shelfKind{pos: f.Pos}), f.Km, f.MM}
		}
		a.Readings, a.Fitments = nil, nil
	}
	s.at[id] = p
}

// has says whether a vehicle is on the shelf.
func (s *shelf) has(id int64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at[id] != nil
}

// take returns a vehicle as it was kept, nil when it was not. At the last time it
// comes off the shelf.
func (s *shelf) take(id int64, last bool) *forecast.Vehicle {
	s.mu.Lock()
	p, kinds := s.at[id], s.kinds
	if last {
		delete(s.at, id)
	}
	s.mu.Unlock()
	if p == nil {
		return nil
	}
	v := p.rest
	v.Axles = slices.Clone(v.Axles)
	for i := range v.Axles {
		a := &v.Axles[i]
		a.Readings = make([]forecast.Reading, len(p.readings[i]))
		for j, r := range p.readings[i] {
			k := &kinds[r.kind]
			a.Readings[j] = forecast.Reading{Day: r.day, Km: r.km, Pos: k.pos, MM: r.mm, Step: k.step, Depot: k.depot, Tripped: k.tripped}
		}
		a.Fitments = make([]forecast.Fitment, len(p.fitments[i]))
		for j, r := range p.fitments[i] {
			a.Fitments[j] = forecast.Fitment{Day: r.day, Km: r.km, Pos: kinds[r.kind].pos, MM: r.mm}
		}
	}
	return &v
}

// vehicles gives the vehicles of ids, which come in order, off the shelf or read. In
// the last round they are not kept.
func (w *refitWorker) vehicles(ctx context.Context, ids []int64, last bool, failed *error) iter.Seq[*forecast.Vehicle] {
	return func(yield func(*forecast.Vehicle) bool) {
		stop := errors.New("stop")
		for len(ids) > 0 && *failed == nil {
			if v := w.take(ids[0], last); v != nil {
				if ids = ids[1:]; !yield(v) {
					return
				}
				continue
			}
			n := 1
			for n < len(ids) && !w.has(ids[n]) {
				n++
			}
			err := w.s.DB.EachHistory(ctx, auth.AllFleets(), ids[:n], func(h *store.History) error {
				v := VehicleOf(h)
				if !last {
					w.keep(h.Vehicle.ID, v)
				}
				if !yield(v) {
					return stop
				}
				return nil
			})
			if errors.Is(err, stop) {
				return
			}
			ids, *failed = ids[n:], err
		}
	}
}
