package store

import (
	"context"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// DueSort is an order of the due-soon list. What is not known comes last.
type DueSort string

const (
	ByBookBy        DueSort = "book_by"        // earliest first; the default
	ByLimitDate     DueSort = "limit_date"     // earliest median first
	ByVehicle       DueSort = "vehicle"        // by number: Bus 9 before Bus 10
	ByKmLeft        DueSort = "km_left"        // least first
	ByThicknessLeft DueSort = "thickness_left" // least above the limit first
	ByNarrowing     DueSort = "narrowing"      // most worth measuring first
)

// DueSorts are the orders there are.
var DueSorts = []DueSort{ByBookBy, ByLimitDate, ByVehicle, ByKmLeft, ByThicknessLeft, ByNarrowing}

// DefaultLimit is the length of a page unless another is asked for, MaxLimit
// the longest.
const (
	DefaultLimit = 50
	MaxLimit     = 500
)

// DueQuery asks for a page of the due-soon list: the forecast axles.
type DueQuery struct {
	Fleet, Depot int64       // 0 = all
	Text         string      // part of number, plate, make or model, whatever its case
	Before       *fleet.Date // to be booked by this day, or past the limit
	Sort         DueSort     // "" = ByBookBy
	After        string      // DuePage.Next of the page before
	Limit        int         // 0 = DefaultLimit
}

// DueRow is one axle of the due-soon list. A number that is not known is NaN.
type DueRow struct {
	VehicleID               int64
	Vehicle, Plate          string
	Fleet, Depot            string
	Axle                    int
	Position                fleet.Position // most likely to be first; no part when none is
	ThicknessMM             float64        // of Position, estimated on AsOf
	NewMM, LimitMM          float64
	KmLeft                  float64 // to the median limit; +Inf beyond the horizon
	RatePer10000            float64 // mm per 10,000 km
	P05, P10, P50, P90, P95 *fleet.Date
	BookBy                  *fleet.Date
	PastLimit               bool
	Readings                int
	AsOf                    fleet.Date
	Width80Days             float64 // of the limit date's 80 % interval
	Width80IfMeasured       float64 // expected after one more inspection
	Warnings                []forecast.Warning
}

// DuePage is a page of the due-soon list.
type DuePage struct {
	Rows  []DueRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

// DueSoon returns a page of the due-soon list.
func (db *DB) DueSoon(ctx context.Context, sc fleet.Scope, q DueQuery) (DuePage, error) {
	return DuePage{}, errUnfinished
}

// EachDue calls fn for every row of q, whatever its After and Limit, and stops
// at fn's first error.
func (db *DB) EachDue(ctx context.Context, sc fleet.Scope, q DueQuery, fn func(DueRow) error) error {
	return errUnfinished
}
