package store

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strconv"

	"brakewear/internal/fleet"
)

// order is an order of a list: ascending by column, which is never null, with
// ties by vehicle and axle.
type order struct {
	name DueSort
	kind columnKind
}

type columnKind int

const (
	aText columnKind = iota
	aDate
	aNumber
)

// cursor is the place of the last row of a page in its order.
type cursor struct {
	Sort      DueSort
	Value     string // of the column
	VehicleID int64
	Axle      int `json:",omitempty"`

	value any // of the column, to compare it with
}

// cursor returns the cursor of a row.
func (o order) cursor(value any, vehicleID int64, axle int) cursor {
	c := cursor{Sort: o.name, VehicleID: vehicleID, Axle: axle}
	switch v := value.(type) {
	case float64:
		c.Value = strconv.FormatFloat(v, 'g', -1, 64)
	default:
		c.Value = fmt.Sprint(v)
	}
	return c
}

// String returns the cursor as text for a URL.
func (c cursor) String() string { return cursorText(c) }

// cursorText is the place of a row, of strings and numbers, as text for a URL.
func cursorText(place any) string {
	b, err := json.Marshal(place)
	if err != nil {
		panic(err) // strings and numbers always marshal
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readCursor reads what cursorText returned. It comes from outside and may be anything.
func readCursor(s string, place any) error {
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err == nil {
		err = json.Unmarshal(b, place)
	}
	if err != nil {
		return noCursor(s)
	}
	return nil
}

func noCursor(s string) error {
	return fleet.Invalidf("cursor %q: it is not one of ours; begin with the first page", s)
}

// parse reads what String returned.
func (o order) parse(s string) (cursor, error) {
	var c cursor
	err := readCursor(s, &c)
	if err != nil {
		return c, err
	}
	if c.Sort != o.name {
		return c, fleet.Invalidf("cursor: it belongs to a list ordered by %q, not %q; begin with the first page", c.Sort, o.name)
	}
	switch o.kind {
	case aDate:
		c.value, err = fleet.ParseDate(c.Value)
	case aNumber:
		c.value, err = strconv.ParseFloat(c.Value, 64)
	default:
		c.value = storableOf(c.Value)
	}
	if err != nil {
		return c, noCursor(s)
	}
	return c, nil
}
