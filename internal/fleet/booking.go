package fleet

import (
	"slices"
	"time"
)

// Item is what is done to an axle, or to the whole vehicle, on a visit.
type Item string

const (
	ItemPads     Item = "pads"
	ItemRotors   Item = "rotors"
	ItemLinings  Item = "linings"
	ItemDrums    Item = "drums"
	ItemSensor   Item = "sensor"
	ItemHoses    Item = "hoses"
	ItemCalipers Item = "calipers"
	ItemFluid    Item = "fluid" // of the whole vehicle
)

// Items in the order they are listed to people.
var Items = []Item{ItemPads, ItemRotors, ItemLinings, ItemDrums, ItemSensor, ItemHoses, ItemCalipers, ItemFluid}

// Part returns the wearing part that the item renews, "" where it is none.
func (i Item) Part() Part {
	switch i {
	case ItemPads:
		return Pad
	case ItemRotors:
		return Rotor
	case ItemLinings:
		return Lining
	case ItemDrums:
		return Drum
	}
	return ""
}

// ItemOf returns the item that renews a wearing part.
func ItemOf(p Part) Item {
	switch p {
	case Pad:
		return ItemPads
	case Rotor:
		return ItemRotors
	case Lining:
		return ItemLinings
	case Drum:
		return ItemDrums
	}
	return ""
}

// Words names the item: "wear sensor".
func (i Item) Words() string {
	switch i {
	case ItemSensor:
		return "wear sensor"
	case ItemFluid:
		return "brake fluid"
	}
	return string(i)
}

// WorkItem is one thing to do on a visit, and why.
type WorkItem struct {
	Axle       int    `json:"axle"` // 1 = front; 0 = the whole vehicle
	Item       Item   `json:"item"`
	PartID     int64  `json:"part_id,omitempty"` // 0 = no part is known to fit
	PartNumber string `json:"part_number,omitempty"`
	Quantity   int    `json:"quantity,omitempty"` // of the part
	Reason     string `json:"reason"`
}

// Axles returns the axles among the items, each once, in their order.
func Axles(items []WorkItem) (axles []int) {
	for _, w := range items {
		if w.Axle != 0 && !slices.Contains(axles, w.Axle) {
			axles = append(axles, w.Axle)
		}
	}
	return axles
}

// BookingState says what has become of a booking.
type BookingState string

const (
	Booked    BookingState = "booked"    // the vehicle is to come
	Done      BookingState = "done"      // the work was done
	Missed    BookingState = "missed"    // the vehicle did not come, or nothing was done
	Withdrawn BookingState = "withdrawn" // taken off the plan
)

// Valid says whether s is one of the states.
func (s BookingState) Valid() bool {
	return s == Booked || s == Done || s == Missed || s == Withdrawn
}

// Slot is a place in a workshop: a bay for some time of a day.
type Slot struct {
	DepotID int64
	Day     Date
	Bay     int // from 1
	Starts  Clock
	Minutes int // in the bay
}

// Ends is when the bay is free again.
func (s Slot) Ends() Clock { return s.Starts + Clock(s.Minutes) }

// Overlaps says whether both want the same bay at the same time.
func (s Slot) Overlaps(o Slot) bool {
	return s.DepotID == o.DepotID && s.Day == o.Day && s.Bay == o.Bay &&
		s.Starts < o.Ends() && o.Starts < s.Ends()
}

// Booking is a vehicle that is to come into a workshop: where, when, and what
// is to be done.
type Booking struct {
	ID        int64
	FleetID   int64 // the vehicle's
	VehicleID int64
	Slot
	Hours float64 // technician hours
	Work  []WorkItem
	State BookingState
	// Kept: a person has made or moved it, so proposals leave it where it is.
	Kept     bool
	Note     string
	Cost     *float64 // expected, labour and parts; nil = not known
	VisitID  int64    // planned visit that it joins; 0 = none
	MadeBy   string
	MadeAt   time.Time
	Changed  time.Time
	Revision int // counts the changes, from 0
	// Filled where bookings are read.
	HomeDepotID                            int64 // the vehicle's
	Vehicle, Plate, Fleet, Depot, TimeZone string
	Currency                               string // of Cost
}

// BookingChange is one line of a booking's history.
type BookingChange struct {
	ID        int64
	BookingID int64
	VehicleID int64
	At        time.Time
	By        string
	What      string // booked, moved, changed, done, missed, withdrawn
	Why       string
	Proposed  bool // Why is a proposal's that was accepted, in the program's words
	From, To  Slot // alike unless it was moved; From is zero for one just booked
	// Names, filled where changes are read.
	Vehicle, FromDepot, ToDepot string
}
