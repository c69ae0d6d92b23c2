package fleet

import (
	"fmt"
	"strings"
)

// Part is what wears.
type Part string

const (
	Pad    Part = "pad"    // friction material of a disc brake, mm thick
	Rotor  Part = "rotor"  // brake disc, mm thick
	Lining Part = "lining" // friction material of a drum brake, mm thick
	Drum   Part = "drum"   // inside diameter in mm; it grows
)

// Parts in the order they are listed to people.
var Parts = []Part{Pad, Rotor, Lining, Drum}

// Grows says whether the measured value of the part rises as it wears.
func (p Part) Grows() bool { return p == Drum }

// Valid says whether p is one of Parts.
func (p Part) Valid() bool { return p == Pad || p == Rotor || p == Lining || p == Drum }

// Of says whether the part belongs to the kind of brake.
func (p Part) Of(b Brake) bool {
	if b == DrumBrake {
		return p == Lining || p == Drum
	}
	return p == Pad || p == Rotor
}

// Side of the vehicle, seen in the direction of travel; blank is the thinnest
// of both.
type Side string

const (
	Left  Side = "left"
	Right Side = "right"
)

// Face of a pad; blank is the thinnest of both.
type Face string

const (
	Inner Face = "inner"
	Outer Face = "outer"
)

// Brake is the kind of brake an axle has.
type Brake string

const (
	DiscBrake Brake = "disc"
	DrumBrake Brake = "drum"
)

// Position is a place on a vehicle where wear is measured.
type Position struct {
	Axle int // 1 = front
	Part Part
	Side Side
	Face Face
}

// String gives the position in words: "axle 1 left inner pad".
func (p Position) String() string { return fmt.Sprintf("axle %d %s", p.Axle, p.Within()) }

// Within gives the position in words, without its axle: "left inner pad".
func (p Position) Within() string {
	words := make([]string, 0, 3)
	for _, w := range []string{string(p.Side), string(p.Face), string(p.Part)} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, " ")
}
