package pipeline

import (
	"context"
	"reflect"
	"sync"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Remembered keeps the model that was read last, and the forecasts of vehicles
// that were looked at, each as long as what it rests on stays the same: that is
// read every time and compared, so that what any process writes counts at once.
// The zero value is empty and ready.
type Remembered struct {
	mu       sync.Mutex
	id       int64 // of the parameters of model
	kind     string
	model    forecast.Model
	vehicles map[int64]lookedAt
}

// maxLookedAt is how many vehicles' forecasts are kept, at some 50 kB each: those
// that people go to and back from within some minutes.
const maxLookedAt = 256

// lookedAt is a vehicle's forecast with all that it rests on.
type lookedAt struct {
	h     store.History
	model forecast.Model
	risk  float64
	asOf  fleet.Date

	fs    []store.AxleForecast
	track forecast.Track
}

// load returns the model of the kind as last learned.
func (r *Remembered) load(ctx context.Context, db *store.DB, k kind) (forecast.Model, error) {
	r = r.on(db)
	known, m := r.learned(k)
	p, err := db.LatestParameters(ctx, k.name, known)
	if err != nil || known != 0 && p.ID == known {
		return m, err
	}
	return r.learn(k, &p)
}

// on returns r, or one that has nothing and keeps nothing for the next who asks.
func (r *Remembered) on(db *store.DB) *Remembered {
	if r == nil || db.Trying() { // what is undone may leave its id to another
		return &Remembered{}
	}
	return r
}

// learned returns the model of the kind that is kept, and the id of its parameters; 0 =
// there is none.
func (r *Remembered) learned(k kind) (id int64, m forecast.Model) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.kind != k.name {
		return 0, nil
	}
	return r.id, r.model
}

// learn returns the model that parameters make, and keeps it.
func (r *Remembered) learn(k kind, p *store.Parameters) (forecast.Model, error) {
	m, err := k.load(p.Values)
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.kind, r.id, r.model = k.name, p.ID, m
	return m, nil
}

// known is the model that load would return, for who has just read the id of the
// parameters that were learned last, of any kind; nil = that has to be asked.
func (r *Remembered) known(db *store.DB, k kind, newest int64) forecast.Model {
	if r == nil || newest == 0 || db.Trying() {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.kind != k.name || r.id < newest {
		return nil
	}
	return r.model
}

// forecasts returns what is kept of a vehicle, if it rests on just this.
func (r *Remembered) forecasts(now *lookedAt) bool {
	if r == nil {
		return false
	}
	r.mu.Lock()
	was, ok := r.vehicles[now.h.Vehicle.ID]
	r.mu.Unlock()
	if !ok || was.model != now.model || was.risk != now.risk || was.asOf != now.asOf || !reflect.DeepEqual(was.h, now.h) {
		return false
	}
	now.fs, now.track = was.fs, was.track
	return true
}

// keep keeps the forecasts of a vehicle.
func (r *Remembered) keep(x lookedAt) {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, there := r.vehicles[x.h.Vehicle.ID]; r.vehicles == nil || !there && len(r.vehicles) >= maxLookedAt {
		r.vehicles = map[int64]lookedAt{}
	}
	r.vehicles[x.h.Vehicle.ID] = x
}
