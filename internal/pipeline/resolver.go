package pipeline

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// resolver finds the records that rows speak of by name.
type resolver struct {
	sc         auth.Scope
	fleets     []fleet.Fleet
	depots     []fleet.Depot
	vehicles   map[string][]store.VehicleKey // by number; with those the file brings
	axles      map[store.AxleKey]fleet.Axle
	elsewhere  map[store.VehicleName]bool // of a vehicles file: in the same fleets, where sc sees nothing
	parts      map[partName]bool          // of a parts file, with those it brings
	axleCounts map[int64]int              // by vehicle, as the file found them
	touched    map[int64]bool             // vehicles that rows were about
	claims     claims                     // what the rows say of them
	added      map[store.AxleKey]bool     // axles that nobody knew
	first      []ReadRow                  // the first rows as they were read

	meant    map[string]string // numbers that no vehicle has, and what they may stand for
	problems []fleet.Problem   // the first ingest.MaxProblems refusals
	refused  int
	doubts   []fleet.Problem // changes in doubt
	doubtful int             // rows
	doubted  int             // line of the last of them
	noKm     lines           // readings without an odometer
	stoodIn  []fleet.Problem // notes on rule set values that stand in

	// histories are the vehicles', by id, where they are few: they tell of the
	// axles, and the rows are held against them. nil = not read.
	histories map[int64]*store.History
}

// fewVehicles is of how many all that is known is read beforehand.
const fewVehicles = 8

// resolver knows the vehicles of the numbers, which are vs, or all that sc sees when
// numbers is nil, with their axles.
func (s *Service) resolver(ctx context.Context, sc auth.Scope, numbers []string, vs map[string][]store.VehicleKey) (*resolver, error) {
	var err error
	var as map[store.AxleKey]fleet.Axle
	if numbers == nil {
		if vs, err = s.DB.VehicleIndex(ctx, sc); err == nil {
			as, err = s.DB.AxleIndex(ctx, sc)
		}
	} else {
		ids := store.IDsOf(vs)
		if len(ids) <= fewVehicles {
			return s.fewKnown(ctx, sc, vs, ids)
		}
		as, err = s.DB.AxlesOf(ctx, sc, ids)
	}
	if err != nil {
		return nil, err
	}
	return newResolver(sc, vs, as), nil
}

// fewKnown is the resolver of a few vehicles, of ids.
func (s *Service) fewKnown(ctx context.Context, sc auth.Scope, vs map[string][]store.VehicleKey, ids []int64) (*resolver, error) {
	if s.holds {
		if err := s.DB.HoldVehicles(ctx, ids); err != nil {
			return nil, err
		}
	}
	as := map[store.AxleKey]fleet.Axle{}
	hs := map[int64]*store.History{}
	err := s.DB.EachHistory(ctx, sc, ids, func(h *store.History) error {
		hs[h.Vehicle.ID] = h
		for _, a := range h.Axles {
			as[store.AxleKey{VehicleID: a.VehicleID, Axle: a.Number}] = a
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	k := newResolver(sc, vs, as)
	k.histories = hs
	return k, nil
}

func newResolver(sc auth.Scope, vs map[string][]store.VehicleKey, as map[store.AxleKey]fleet.Axle) *resolver {
	k := &resolver{
		sc: sc, vehicles: vs, axles: as,
		touched: map[int64]bool{}, added: map[store.AxleKey]bool{}, axleCounts: map[int64]int{},
	}
	for key := range as {
		k.axleCounts[key.VehicleID]++
	}
	return k
}

// eachHistory calls fn for what is known of each vehicle of ids, which ascend,
// as before the file.
func (s *Service) eachHistory(ctx context.Context, k *resolver, ids []int64, fn func(*store.History) error) error {
	if k.histories == nil {
		return s.DB.EachHistory(ctx, k.sc, ids, fn)
	}
	for _, id := range ids {
		if h := k.histories[id]; h != nil {
			if err := fn(h); err != nil {
				return err
			}
		}
	}
	return nil
}

// fleetNamed returns the place of a fleet in k.fleets, or -1.
func (k *resolver) fleetNamed(name string) int {
	return slices.IndexFunc(k.fleets, func(f fleet.Fleet) bool { return strings.EqualFold(f.Name, name) })
}

// know is the resolver for a file of the kind; see resolver.
func (s *Service) know(ctx context.Context, sc auth.Scope, kind ingest.Kind, numbers []string, vs map[string][]store.VehicleKey) (*resolver, error) {
	k, err := s.resolver(ctx, sc, numbers, vs)
	if err == nil && (kind == ingest.Vehicles || kind.OfThePlan()) {
		err = s.knowPlaces(ctx, k)
	}
	if err == nil && kind == ingest.Parts {
		err = s.knowParts(ctx, k)
	}
	if err == nil && kind == ingest.Vehicles && len(sc.Depots()) > 0 {
		k.elsewhere, err = s.DB.VehiclesElsewhere(ctx, sc, k.fleets, numbers)
	}
	return k, err
}

// knowPlaces makes the resolver know the fleets and depots that there are, for a
// file that names them. An upload of one vehicle is not to wait for hundreds.
func (s *Service) knowPlaces(ctx context.Context, k *resolver) (err error) {
	if k.fleets, err = s.DB.Fleets(ctx, k.sc); err == nil {
		k.depots, err = s.DB.Depots(ctx, k.sc)
	}
	return err
}

// axleCount says how many axles a vehicle is known to have, 0 when it is not
// known.
func (k *resolver) axleCount(fleetName, number string) int {
	v, fault := k.vehicle(&ingest.Row{Fleet: fleetName, Vehicle: number})
	if fault != nil {
		return 0
	}
	return k.axleCounts[v.ID]
}

// Names for vehicles that came without; a workshop with one fleet and one
// depot need not invent any.
const (
	unnamedFleet = "Fleet"
	unnamedDepot = "Depot"
)

// place puts row into b with the ids it needs, or says why it cannot be taken.
func (k *resolver) place(b *batch, row *ingest.Row) (fault *fleet.Problem) {
	if row.Entry != nil {
		return k.placeVehicle(b, row)
	}
	if row.Part != nil {
		return k.placePart(b, row)
	}
	if row.Absence != nil {
		return k.placeAbsence(b, row)
	}
	if row.Visit != nil {
		return k.placeVisit(b, row)
	}
	v, fault := k.vehicle(row)
	if fault != nil {
		return fault
	}
	k.touched[v.ID] = true
	defer func() {
		if fault == nil {
			k.claims.add(row, v.ID)
		}
	}()
	switch {
	case row.BrakeTest != nil:
		row.BrakeTest.VehicleID = v.ID
		b.tests = append(b.tests, *row.BrakeTest)
	case row.Axle != nil:
		row.Axle.VehicleID = v.ID
		k.doubtAxle(row.Line, row.Vehicle, row.Axle)
		b.axles = append(b.axles, *row.Axle)
	case row.Odometer != nil:
		row.Odometer.VehicleID = v.ID
		b.odometers = append(b.odometers, *row.Odometer)
	case row.Reading != nil:
		row.Reading.VehicleID = v.ID
		row.Reading.Line = row.Line
		if fault := k.axle(b, v, row.Reading.Position, row.Line); fault != nil {
			return fault
		}
		if row.Reading.OdometerKm == nil {
			k.noKm.add(row.Line)
		}
		b.readings = append(b.readings, *row.Reading)
	case row.Fitment != nil:
		row.Fitment.VehicleID = v.ID
		row.Fitment.Line = row.Line
		if fault := k.axle(b, v, row.Fitment.Position, row.Line); fault != nil {
			return fault
		}
		b.fitments = append(b.fitments, *row.Fitment)
	}
	return nil
}

// placeVehicle is place for a vehicle itself. One that is known keeps what the
// row leaves blank, its fleet and depot as well; one that is new goes to the
// only fleet there is.
func (k *resolver) placeVehicle(b *batch, row *ingest.Row) *fleet.Problem {
	e := store.VehicleEntry(*row.Entry)
	known := k.named(row)
	if len(known) > 1 {
		return k.several(row, known)
	}
	if len(known) == 1 {
		e.Fleet = known[0].Fleet
		k.touchLimits(known[0], &e)
	}
	if fault := k.home(&e, len(known) == 0); fault != nil {
		return fault
	}
	if len(known) == 1 {
		k.doubtVehicle(row.Line, &e, &known[0])
	}
	if len(known) == 0 {
		if i := k.fleetNamed(e.Fleet); i >= 0 && k.elsewhere[store.VehicleName{Fleet: k.fleets[i].ID, Number: row.Vehicle}] {
			return &fleet.Problem{
				Column: "vehicle", Read: row.Vehicle,
				Message: "a vehicle of a depot that is not yours has this number: correct it, or have somebody with both depots, or the whole fleet, hand the line in to move it",
			}
		}
		k.vehicles[row.Vehicle] = append(k.vehicles[row.Vehicle], store.VehicleKey{Fleet: e.Fleet, Depot: strings.TrimSpace(e.Depot), Category: e.Category})
	}
	b.vehicles = append(b.vehicles, e)
	return nil
}

// touchLimits marks a known vehicle of which a row changes what its limits, and
// what is said of its brake tests, depend on.
func (k *resolver) touchLimits(known store.VehicleKey, e *store.VehicleEntry) {
	other := e.Category != "" && e.Category != known.Category || e.Actuation != "" && e.Actuation != known.Actuation ||
		e.Year != 0 && e.Year != known.Year || e.FirstUsed != 0 && e.FirstUsed != known.FirstUsed || e.GrossKg != 0 && e.GrossKg != known.GrossKg
	if known.ID != 0 && other { // 0: the file brings it itself
		k.touched[known.ID] = true
	}
}

// home fills the blanks of a vehicle's fleet and depot, or says why they
// cannot be those named. A depot left blank stays so for a vehicle that is
// known.
func (k *resolver) home(e *store.VehicleEntry, fresh bool) *fleet.Problem {
	switch {
	case e.Fleet == "" && len(k.fleets) > 1:
		return &fleet.Problem{
			Column:  "fleet",
			Message: fmt.Sprintf("a new vehicle, and there are %d fleets: add a column fleet that says which", len(k.fleets)),
		}
	case e.Fleet == "" && len(k.fleets) == 1:
		e.Fleet = k.fleets[0].Name
	case e.Fleet == "":
		e.Fleet = unnamedFleet
	}
	var depots []string // of the fleet
	in := k.fleetNamed(e.Fleet)
	if in >= 0 {
		for _, d := range k.depots {
			if d.FleetID == k.fleets[in].ID {
				depots = append(depots, d.Name)
			}
		}
	}
	switch {
	case e.Depot != "" || !fresh:
	case len(depots) == 1:
		e.Depot = depots[0]
	default:
		e.Depot = unnamedDepot
	}
	switch {
	case k.sc.All():
	case in < 0:
		return &fleet.Problem{Column: "fleet", Read: e.Fleet, Message: "no fleet of this name is yours to change: correct it"}
	case e.Depot == "" || slices.Contains(k.sc.Fleets(), k.fleets[in].ID):
	case !slices.ContainsFunc(depots, func(d string) bool { return strings.EqualFold(d, e.Depot) }):
		return &fleet.Problem{Column: "depot", Read: e.Depot, Message: "no depot of this name is yours to change: name one of " + strings.Join(depots, ", ")}
	}
	return nil
}

// refuse counts a refused row and, unless there are too many to read, keeps
// the reason.
func (k *resolver) refuse(line int, p fleet.Problem) {
	k.refused++
	if len(k.problems) < ingest.MaxProblems {
		p.Line, p.Refused = line, true
		k.problems = append(k.problems, p)
	}
}

// named returns the vehicles of the row's number, in the row's fleet where it
// names one.
func (k *resolver) named(row *ingest.Row) (found []store.VehicleKey) {
	for _, v := range k.vehicles[row.Vehicle] {
		if row.Fleet == "" || strings.EqualFold(row.Fleet, v.Fleet) {
			found = append(found, v)
		}
	}
	return found
}

func (k *resolver) vehicle(row *ingest.Row) (store.VehicleKey, *fleet.Problem) {
	switch found := k.named(row); len(found) {
	case 1:
		return found[0], nil
	case 0:
		do := "correct it"
		if meant := k.meant[row.Vehicle]; meant != "" {
			do = "write " + meant + ", if that is meant"
		}
		who, or := "no vehicle", ""
		if !k.sc.All() {
			who, or = "no vehicle of yours", "; if it is of another depot, have somebody of that depot hand the line in"
		}
		return store.VehicleKey{}, &fleet.Problem{
			Column:  "vehicle",
			Read:    row.Vehicle,
			Message: who + " has this number: " + do + ", or take in a vehicles file that has it first" + or,
		}
	default:
		return store.VehicleKey{}, k.several(row, found)
	}
}

// several refuses a number that more than one fleet has.
func (k *resolver) several(row *ingest.Row, found []store.VehicleKey) *fleet.Problem {
	var names []string
	for _, v := range found {
		names = append(names, v.Fleet)
	}
	return &fleet.Problem{
		Column:  "vehicle",
		Read:    row.Vehicle,
		Message: fmt.Sprintf("%d fleets have a vehicle of this number (%s): add a column fleet that says which", len(found), strings.Join(names, ", ")),
	}
}

// axle makes sure that the position's axle exists with a specification of its
// part; where it has none, the rule set's stands in and a note says so.
func (k *resolver) axle(b *batch, v store.VehicleKey, p fleet.Position, line int) *fleet.Problem {
	key := store.AxleKey{VehicleID: v.ID, Axle: p.Axle}
	a, ok := k.axles[key]
	if !ok {
		brake := fleet.DiscBrake
		if p.Part.Of(fleet.DrumBrake) {
			brake = fleet.DrumBrake
		}
		a = fleet.Axle{VehicleID: v.ID, Number: p.Axle, Brake: brake}
		k.added[key] = true
	}
	if !p.Part.Of(a.Brake) {
		return &fleet.Problem{
			Column:  "part",
			Read:    string(p.Part),
			Message: fmt.Sprintf("axle %d has a %s brake, which has no %s: correct the part, or the axle in an axles file", p.Axle, a.Brake, p.Part),
		}
	}
	if _, ok := a.Specs[p.Part]; ok {
		return nil
	}
	spec, ruled := rules.StandIn(v.Category, p.Axle, p.Part)
	if !ruled && ok {
		return nil // kept without a limit; its forecast says so
	}
	specs := map[fleet.Part]fleet.Spec{}
	for q, s := range a.Specs {
		specs[q] = s
	}
	what := fmt.Sprintf("no limit is known for %ss of axle %d: kept, but not forecast until an axles file gives the maker's", p.Part, p.Axle)
	if ruled {
		specs[p.Part] = spec
		what = fmt.Sprintf("axle %d has no specification for its %ss: new %g mm and limit %g mm stand in (%s) until an axles file gives the maker's",
			p.Axle, p.Part, spec.New, spec.Limit, spec.Source)
	}
	a.Specs = specs
	k.axles[key] = a
	b.standIns = append(b.standIns, a)
	if len(k.stoodIn) < ingest.MaxProblems {
		k.stoodIn = append(k.stoodIn, fleet.Problem{Line: line, Message: what})
	}
	return nil
}

// notes says what was assumed, once each.
func (k *resolver) notes() []fleet.Problem {
	ps := k.stoodIn
	if k.noKm.n > 0 {
		ps = append(ps, fleet.Problem{
			Line:    k.noKm.first,
			Column:  "odometer_km",
			Message: "no odometer given: it is read off the vehicle's odometer readings" + k.noKm.also(),
		})
	}
	return ps
}

// lines counts the lines that one note concerns.
type lines struct{ first, n int }

func (l *lines) add(line int) {
	if l.n == 0 {
		l.first = line
	}
	l.n++
}

// also says how many further lines a note stands for.
func (l lines) also() string {
	switch l.n {
	case 1:
		return ""
	case 2:
		return " (and 1 more line)"
	}
	return fmt.Sprintf(" (and %d more lines)", l.n-1)
}
