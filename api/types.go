package api

import (
	"math"
	"time"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// A number, date or text that is not known is null; mm and km throughout.

// Page is one page of a list.
type Page[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next"`            // cursor of the page after; null on the last
	Total *int    `json:"total,omitempty"` // items of all pages, where they are counted
}

// List is a list that comes whole.
type List[T any] struct {
	Items []T `json:"items"`
}

// Fleet is a set of vehicles under one owner.
type Fleet struct {
	ID      int64  `json:"id"`
	Name    string `json:"name"`
	RuleSet string `json:"rule_set"` // id; blank: none picked
}

// Depot is a place with a workshop.
type Depot struct {
	ID       int64  `json:"id"`
	FleetID  int64  `json:"fleet_id"`
	Name     string `json:"name"`
	TimeZone string `json:"time_zone"`
}

// Due is one axle of the due-soon list.
type Due struct {
	VehicleID   int64               `json:"vehicle_id"`
	Vehicle     string              `json:"vehicle"`
	Plate       string              `json:"plate"`
	Fleet       string              `json:"fleet"`
	Depot       string              `json:"depot"`
	Axle        int                 `json:"axle"`
	AsOf        fleet.Date          `json:"as_of"`
	Limiting    *pipeline.PlaceJSON `json:"limiting"` // null when nothing can be forecast
	ThicknessMM *float64            `json:"thickness_mm"`
	NewMM       *float64            `json:"new_mm"`
	LimitMM     *float64            `json:"limit_mm"`
	Rate        *float64            `json:"rate_mm_per_10000km"`
	KmLeft      *float64            `json:"km_left"` // to the median limit
	LimitDate   DueDates            `json:"limit_date"`
	BookBy      *fleet.Date         `json:"book_by"`
	PastLimit   bool                `json:"past_limit"`
	Readings    int                 `json:"readings"`
	Width80     *float64            `json:"width80_days"`
	Width80If   *float64            `json:"width80_if_measured_days"`
	Warnings    []pipeline.WarnJSON `json:"warnings"`
}

// DueDates are the quantiles of a limit date that the list has.
type DueDates struct {
	P05 *fleet.Date `json:"p05"`
	P10 *fleet.Date `json:"p10"`
	P50 *fleet.Date `json:"p50"`
	P90 *fleet.Date `json:"p90"`
	P95 *fleet.Date `json:"p95"`
}

// Vehicle is one vehicle.
type Vehicle struct {
	ID       int64  `json:"id"`
	Vehicle  string `json:"vehicle"`
	FleetID  int64  `json:"fleet_id"`
	Fleet    string `json:"fleet"`
	DepotID  int64  `json:"depot_id"`
	Depot    string `json:"depot"`
	Plate    string `json:"plate"`
	Category string `json:"category"`
	Make     string `json:"make"`
	Model    string `json:"model"`
	Year     *int   `json:"year"`
	Duty     string `json:"duty"`

	FirstUsed *fleet.Date `json:"first_used"`
	Actuation string      `json:"actuation"`
	GrossKg   *float64    `json:"gross_kg"`
}

// VehicleItem is a vehicle in a list.
type VehicleItem struct {
	Vehicle
	Axles       int         `json:"axles"`
	LastReading *fleet.Date `json:"last_reading"`
	BookBy      *fleet.Date `json:"book_by"` // earliest of its axles
	PastLimit   bool        `json:"past_limit"`
}

// VehicleDetail is a vehicle with its axles.
type VehicleDetail struct {
	Vehicle
	Axles []Axle `json:"axles"`
}

// Axle is an axle with its specification.
type Axle struct {
	Axle  int    `json:"axle"` // 1 = front
	Brake string `json:"brake"`
	Specs []Spec `json:"specs"`
}

// Spec is the new and the limit value of a part, and the limit in force by
// the fleet's rule set and the workshop.
type Spec struct {
	Part        string  `json:"part"`
	NewMM       float64 `json:"new_mm"`
	LimitMM     float64 `json:"limit_mm"`
	Source      string  `json:"source"`
	InForceMM   float64 `json:"in_force_mm"`
	InForceFrom string  `json:"in_force_source"`
}

// History is what was measured and done on one vehicle, by date.
type History struct {
	Odometer   []Odometer      `json:"odometer"`
	Swaps      []ClusterSwap   `json:"cluster_swaps"`
	Readings   []Reading       `json:"readings"`
	Fitments   []Fitment       `json:"fitments"`
	Conditions []SeenCondition `json:"conditions"`
}

// ClusterSwap is a change of the instrument cluster that was declared.
type ClusterSwap struct {
	Date       fleet.Date `json:"date"`
	PreviousKm float64    `json:"previous_km"` // shown by the old one last
	OdometerKm float64    `json:"odometer_km"` // shown by the new one then
	UploadID   int64      `json:"upload_id"`
}

// Odometer is one odometer reading.
type Odometer struct {
	ID         int64      `json:"id"`
	Date       fleet.Date `json:"date"`
	OdometerKm float64    `json:"odometer_km"`
	UploadID   int64      `json:"upload_id"`
	Aside      *Aside     `json:"aside"` // null while it counts
}

// Reading is one measured value, as given and in mm.
type Reading struct {
	ID         int64      `json:"id"`
	Date       fleet.Date `json:"date"`
	OdometerKm *float64   `json:"odometer_km"`
	Axle       int        `json:"axle"`
	Part       string     `json:"part"`
	Side       string     `json:"side"` // blank: the thinner of both
	Face       string     `json:"face"`
	ValueMM    float64    `json:"value_mm"`
	Tripped    bool       `json:"tripped"` // a wear sensor's signal: at or below value_mm
	Given      string     `json:"given"`
	Unit       string     `json:"unit"`
	Gauge      string     `json:"gauge"`
	Technician string     `json:"technician"`
	Note       string     `json:"note"`
	UploadID   int64      `json:"upload_id"`
	Aside      *Aside     `json:"aside"`
}

// Fitment is parts put on.
type Fitment struct {
	ID         int64      `json:"id"`
	Date       fleet.Date `json:"date"`
	OdometerKm *float64   `json:"odometer_km"`
	Axle       int        `json:"axle"`
	Part       string     `json:"part"`
	Side       string     `json:"side"` // blank: both
	Face       string     `json:"face"`
	ValueMM    *float64   `json:"value_mm"` // null: the specification's new value
	UploadID   int64      `json:"upload_id"`
	Aside      *Aside     `json:"aside"`
}

// Upload is one file or request taken in.
type Upload struct {
	ID       int64     `json:"id"`
	Kind     string    `json:"kind"`
	Name     string    `json:"name"`
	SHA256   string    `json:"sha256"`
	By       string    `json:"by"`
	At       time.Time `json:"at"`
	Accepted int       `json:"accepted"`
	Refused  int       `json:"refused"`
	Repeated int       `json:"repeated"` // were there already
	Doubtful int       `json:"doubtful"` // of the accepted ones
}

// FileCheck is what would become of a file's rows if they were taken in.
type FileCheck struct {
	Kind     string             `json:"kind"`
	Accepted int                `json:"accepted"`
	Refused  int                `json:"refused"`
	Repeated int                `json:"repeated"`
	Doubtful int                `json:"doubtful"`
	Before   *int64             `json:"before"` // the upload that has all of it; null for none
	Problems []Problem          `json:"problems"`
	First    []pipeline.ReadRow `json:"first"` // the first rows, as they were read
}

// File is a file that is kept until it is taken in or expires.
type File struct {
	ID        int64     `json:"id"`
	Name      string    `json:"name"`
	SHA256    string    `json:"sha256"`
	By        string    `json:"by"`
	At        time.Time `json:"at"`
	Expires   time.Time `json:"expires"`
	State     string    `json:"state"`
	Bytes     int64     `json:"bytes"`
	ReadBytes int64     `json:"read_bytes"` // by the present work
	ReadRows  int       `json:"read_rows"`
	Fault     string    `json:"fault"`
	UploadID  *int64    `json:"upload_id"` // null before it is taken in
	// Check is what the check found; null but when it waits to be taken in.
	Check *FileCheck `json:"check"`
}

// UploadDetail is an upload with what was refused or assumed.
type UploadDetail struct {
	Upload
	Problems []Problem `json:"problems"`
}

// Problem is one thing refused or assumed in an upload.
type Problem struct {
	Line    int    `json:"line"` // of the file, or item of the array, from 1; 0 = of the whole
	Column  string `json:"column"`
	Read    string `json:"read"`
	Message string `json:"message"`
	Refused bool   `json:"refused"` // false: a note on what was taken
	// Doubtful: it was taken, but is unlikely.
	Doubtful bool `json:"doubtful"`
}

// Kind is one kind of file with its columns.
type Kind struct {
	Kind      string   `json:"kind"`
	Columns   []Column `json:"columns"`
	Templates []string `json:"templates"` // addresses of empty files
}

// Column is one column of a kind of file.
type Column struct {
	Name     string   `json:"name"`
	Unit     string   `json:"unit"`
	Required bool     `json:"required"`
	Help     string   `json:"help"`
	Example  string   `json:"example"`
	Synonyms []string `json:"synonyms"`
}

// number rounds x to so many decimals, or returns nil when it is none.
func number(x float64, decimals int) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = round(x, decimals)
	return &x
}

func warnings(ws []forecast.Warning) []pipeline.WarnJSON {
	out := make([]pipeline.WarnJSON, 0, len(ws))
	for _, w := range ws {
		out = append(out, pipeline.WarnJSON{Code: w.Code, Text: w.Text})
	}
	return out
}

// items applies f to every element; never nil, so that JSON has an array.
func items[A, B any](as []A, f func(*A) B) []B {
	out := make([]B, 0, len(as))
	for i := range as {
		out = append(out, f(&as[i]))
	}
	return out
}
