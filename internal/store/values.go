package store

import (
	"database/sql/driver"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// instant is a moment as both databases keep it: UTC, to the microsecond, in
// a text form that sorts.
type instant time.Time

const instantForm = "2006-01-02T15:04:05.000000Z"

// Value gives the text form.
func (i instant) Value() (driver.Value, error) {
	return time.Time(i).UTC().Truncate(time.Microsecond).Format(instantForm), nil
}

// Scan reads what either driver returns.
func (i *instant) Scan(src any) error {
	switch v := src.(type) {
	case time.Time:
		*i = instant(v.UTC())
		return nil
	case string:
		t, err := time.Parse(time.RFC3339Nano, v)
		*i = instant(t.UTC())
		return err
	}
	return fmt.Errorf("cannot read an instant from %T", src)
}

// maybeInstant is an instant that may be missing: nil here, NULL in the
// database.
type maybeInstant struct{ t **time.Time }

// Value gives NULL for nil.
func (m maybeInstant) Value() (driver.Value, error) {
	if *m.t == nil {
		return nil, nil
	}
	return instant(**m.t).Value()
}

// Scan gives nil for NULL.
func (m maybeInstant) Scan(src any) error {
	*m.t = nil
	if src == nil {
		return nil
	}
	var i instant
	err := i.Scan(src)
	*m.t = (*time.Time)(&i)
	return err
}

// number is a float64 that may be unknown: NaN here, NULL in the database.
type number float64

// Value gives NULL for NaN.
func (n number) Value() (driver.Value, error) {
	if math.IsNaN(float64(n)) {
		return nil, nil
	}
	return float64(n), nil
}

// Scan gives NaN for NULL.
func (n *number) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*n = number(math.NaN())
	case float64:
		*n = number(v)
	case int64:
		*n = number(v)
	default:
		return fmt.Errorf("cannot read a number from %T", src)
	}
	return nil
}

// someDay is a day that may be unknown: 0 here, NULL in the database.
type someDay fleet.Date

// Value gives NULL for 0.
func (d someDay) Value() (driver.Value, error) {
	if d == 0 {
		return nil, nil
	}
	return fleet.Date(d).Value()
}

// Scan gives 0 for NULL.
func (d *someDay) Scan(src any) error {
	if src == nil {
		*d = 0
		return nil
	}
	return (*fleet.Date)(d).Scan(src)
}

// quantiles is a distribution as it is kept: doubles, lowest byte first.
type quantiles struct{ *forecast.Dist }

// Value gives NULL for an unknown distribution.
func (q quantiles) Value() (driver.Value, error) {
	if !q.Known() {
		return nil, nil
	}
	return appendQuantiles(make([]byte, 0, 8*len(q.X)), *q.Dist), nil
}

func appendQuantiles(b []byte, d forecast.Dist) []byte {
	for _, x := range d.X {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// Scan reads what Value gave.
func (q quantiles) Scan(src any) error {
	*q.Dist = forecast.Dist{}
	if src == nil {
		return nil
	}
	b, ok := src.([]byte)
	if !ok {
		return fmt.Errorf("cannot read quantiles from %T", src)
	}
	if len(b) != 8*len(forecast.Levels) {
		return nil // kept at other levels by an older program; the next refit replaces it
	}
	*q.Dist = distOf(b)
	return nil
}

// distOf reads what appendQuantiles gave.
func distOf(b []byte) (d forecast.Dist) {
	d.X = make([]float64, len(b)/8)
	for i := range d.X {
		d.X[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	return d
}
