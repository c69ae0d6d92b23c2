package fleet

// What a step of a job card calls the measures of a seated rotor, with a side
// behind it: "runout left".
const (
	RunoutMeasure    = "runout"
	VariationMeasure = "variation"
)

// RotorMeasure is how a rotor turned, as measured on its hub and noted on a job
// card. What was not measured is nil.
type RotorMeasure struct {
	VehicleID   int64
	Axle        int
	Side        Side
	Date        Date // of the card
	RunoutMM    *float64
	VariationMM *float64 // in thickness, round it
	By          string
}
