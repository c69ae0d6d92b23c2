package pipeline

import (
	"cmp"
	"math"
	"slices"

	"brakewear/ingest"
	"brakewear/internal/fleet"
)

// maxClaims bounds the rows of one file that are looked at for doubts, 40
// bytes each: more than a year of the largest fleet.
const maxClaims = 1_000_000

// claim is a row of a file as far as it can be in doubt.
type claim struct {
	vehicle  int64
	km       float64 // odometer; NaN where it was not given
	mm       float64 // measured or fitted, 0 = new; of an odometer row the old cluster's km, NaN = no swap
	day      fleet.Date
	line     int32
	position uint16 // index in claims.positions; of odometer rows nothing
	kind     claimKind
	tripped  bool
}

type claimKind uint8

const (
	readingClaim claimKind = iota
	fitmentClaim
	odometerClaim
)

// claims collects the rows of one file.
type claims struct {
	rows      []claim
	positions []fleet.Position
	index     map[fleet.Position]uint16
	beyond    int // first line that is not looked at; 0 = none
}

// add notes a row of a vehicle, if it is of a kind that can be in doubt.
func (c *claims) add(row *ingest.Row, vehicle int64) {
	n := claim{vehicle: vehicle, line: int32(min(row.Line, math.MaxInt32)), km: math.NaN(), mm: math.NaN()}
	switch {
	case row.Reading != nil:
		r := row.Reading
		n.kind, n.day, n.mm, n.tripped = readingClaim, r.Date, r.MM, r.Tripped
		n.position, n.km = c.positionIndex(r.Position), orNaN(r.OdometerKm)
	case row.Fitment != nil:
		f := row.Fitment
		n.kind, n.day, n.mm = fitmentClaim, f.Date, f.MM
		n.position, n.km = c.positionIndex(f.Position), orNaN(f.OdometerKm)
	case row.Odometer != nil:
		o := row.Odometer
		n.kind, n.day, n.km, n.mm = odometerClaim, o.Date, o.Km, orNaN(o.PreviousKm)
	default:
		return
	}
	if len(c.rows) == maxClaims {
		c.beyond = cmp.Or(c.beyond, row.Line)
		return
	}
	c.rows = append(c.rows, n)
}

// positionIndex returns the index of a position; there are a few hundred.
func (c *claims) positionIndex(p fleet.Position) uint16 {
	i, ok := c.index[p]
	if !ok {
		if c.index == nil {
			c.index = map[fleet.Position]uint16{}
		}
		i = uint16(len(c.positions))
		c.index[p] = i
		c.positions = append(c.positions, p)
	}
	return i
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// sort brings the rows into the order of vehicle, day and line.
func (c *claims) sort() {
	slices.SortFunc(c.rows, func(a, b claim) int {
		return cmp.Or(cmp.Compare(a.vehicle, b.vehicle), cmp.Compare(a.day, b.day), cmp.Compare(a.line, b.line), cmp.Compare(a.position, b.position))
	})
}

// vehicles returns the vehicles of the sorted rows, and how many visits with
// readings there are.
func (c *claims) vehicles() (ids []int64, visits int) {
	var last fleet.Date
	for i := range c.rows {
		r := &c.rows[i]
		fresh := len(ids) == 0 || ids[len(ids)-1] != r.vehicle
		if fresh {
			ids = append(ids, r.vehicle)
		}
		if r.kind == readingClaim && (fresh || r.day != last) {
			visits++
		}
		last = r.day
	}
	return ids, visits
}

// of returns the sorted rows of a vehicle.
func (c *claims) of(vehicle int64) []claim {
	i, _ := slices.BinarySearchFunc(c.rows, vehicle, func(r claim, v int64) int { return cmp.Compare(r.vehicle, v) })
	j := i
	for j < len(c.rows) && c.rows[j].vehicle == vehicle {
		j++
	}
	return c.rows[i:j]
}
