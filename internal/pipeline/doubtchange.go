package pipeline

import (
	"fmt"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// What a row changes of a vehicle or axle that is known is taken as meant; what
// a slip or another's file often changes, and much depends on, is doubted.

// doubt notes that a row is in doubt; rows come by line, and each is one.
func (k *resolver) doubt(line int, column, read, format string, args ...any) {
	if line != k.doubted {
		k.doubted = line
		k.doubtful++
	}
	if len(k.doubts) < ingest.MaxProblems {
		k.doubts = append(k.doubts, fleet.Problem{Line: line, Column: column, Read: read, Message: fmt.Sprintf(format, args...), Doubtful: true})
	}
}

// doubtVehicle doubts what e changes of a known vehicle.
func (k *resolver) doubtVehicle(line int, e *store.VehicleEntry, known *store.VehicleKey) {
	if e.Depot != "" && known.Depot != "" && !strings.EqualFold(strings.TrimSpace(e.Depot), known.Depot) {
		k.doubt(line, "depot", e.Depot, "%s stands in %s: this moves it; correct the depot, or leave it blank to keep it there", e.Number, known.Depot)
	}
	if e.Category != "" && known.Category != "" && e.Category != known.Category {
		k.doubt(line, "category", string(e.Category), "%s is a vehicle of category %s: this changes the limits and what it is compared with", e.Number, known.Category)
	}
}

// doubtAxle doubts what a changes of a known axle.
func (k *resolver) doubtAxle(line int, number string, a *fleet.Axle) {
	old, ok := k.axles[store.AxleKey{VehicleID: a.VehicleID, Axle: a.Number}]
	switch {
	case !ok:
		return
	case old.Brake != a.Brake:
		k.doubt(line, "brake", string(a.Brake), "axle %d of %s has a %s brake: this drops its specification, and what was measured of it counts no more", a.Number, number, old.Brake)
		return
	}
	for _, p := range fleet.Parts {
		is, had := a.Specs[p], old.Specs[p]
		if is.New == 0 || had.New == 0 || had.Source != is.Source {
			continue // what stood in gives way to the maker's
		}
		later, way := is.Limit < had.Limit, "down"
		if p.Grows() {
			later, way = is.Limit > had.Limit, "up"
		}
		if later {
			k.doubt(line, string(p)+"_limit_mm", gauged(is.Limit), "axle %d of %s: the limit of its %s goes %s from %s, so that it is changed later: hold it against the maker's data", a.Number, number, p, way, inMM(had.Limit))
		}
	}
}
