package store

import "brakewear/internal/fleet"

// Writer stores the rows of one upload; see TakeIn. It is for one goroutine.
type Writer struct{}

// Counts says what became of the rows of one call.
type Counts struct {
	Added    int
	Changed  int
	Repeated int // already there, nothing changed
}

// VehicleEntry is a vehicle with the names of its fleet and depot.
type VehicleEntry struct {
	Fleet, Depot string
	fleet.Vehicle
}

// Vehicles adds vehicles or changes those that have the same number in the
// same fleet, and makes fleets and depots that are new by name, whatever its
// case. A blank keeps what is known.
func (w *Writer) Vehicles(vs []VehicleEntry) (Counts, error) { return Counts{}, errUnfinished }

// Axles adds axles or changes those with the same vehicle and number. A part
// without a specification in the entry keeps the one it has.
func (w *Writer) Axles(as []fleet.Axle) (Counts, error) { return Counts{}, errUnfinished }

// Readings adds readings. One is already there when a reading has the same
// vehicle, position, date, value and tripped mark, even if it was set aside.
func (w *Writer) Readings(rs []fleet.Reading) (Counts, error) { return Counts{}, errUnfinished }

// Odometers adds odometer readings. One is already there when the vehicle has
// one of the same date and value.
func (w *Writer) Odometers(os []fleet.Odometer) (Counts, error) { return Counts{}, errUnfinished }

// Fitments adds fitments. One is already there when the vehicle has one at
// the same position and date, whatever its value.
func (w *Writer) Fitments(fs []fleet.Fitment) (Counts, error) { return Counts{}, errUnfinished }
