package rules

import (
	_ "embed"
	"slices"

	"brakewear/internal/fleet"
)

// ThresholdKey names a threshold of a finding.
type ThresholdKey string

// The thresholds there are. Lengths are mm.
const (
	PadDifference           ThresholdKey = "pad difference"               // inner against outer pad of a wheel
	Taper                   ThresholdKey = "taper"                        // along one pad
	ThicknessVariation      ThresholdKey = "thickness variation"          // of a rotor
	ThicknessVariationWatch ThresholdKey = "thickness variation to watch" // the tighter makers' limit
	Runout                  ThresholdKey = "runout"                       // of a rotor
	EfficiencyFall          ThresholdKey = "efficiency fall"              // % points over like brake tests
	PedalForceGrowth        ThresholdKey = "pedal force growth"           // % over like brake tests
	TrendChance             ThresholdKey = "trend by chance"              // %, greatest p of a trend that counts
)

// Threshold is the value above which something measured is a finding (of
// TrendChance: up to which a trend counts).
type Threshold struct {
	Key        ThresholdKey
	Categories []fleet.Category // it is for; none = all
	What       string           // what lies beyond it, in words
	Published  *Value
	X          float64 // the value in force
	// Changed says that the workshop's own value is in force.
	Changed bool
}

// Shows says whether x is a finding.
func (t *Threshold) Shows(x float64) bool { return t.Published.Side().Fails(x, t.X) }

//go:embed thresholds.csv
var thresholdsCSV string

var defaultThresholds = readThresholds()

func readThresholds() (out []Threshold) {
	for r := range table("thresholds.csv", thresholdsCSV) {
		v := mustValue(r("value"))
		out = append(out, Threshold{
			Key:        ThresholdKey(r("key")),
			Categories: words[fleet.Category](r("categories")),
			What:       r("what"),
			Published:  v,
			X:          v.Number(),
		})
	}
	return out
}

// Thresholds are the thresholds of one fleet.
type Thresholds []Threshold

// ThresholdsWith returns the published thresholds with a workshop's own in
// their place, by the published value's id.
func ThresholdsWith(own map[string]float64) Thresholds {
	ts := slices.Clone(defaultThresholds)
	for i := range ts {
		if x, ok := own[ts[i].Published.ID]; ok {
			ts[i].X, ts[i].Changed = x, true
		}
	}
	return ts
}

// Of returns the threshold of a key for vehicles of category c, and nil where
// there is none for them. A blank category counts as light.
func (ts Thresholds) Of(key ThresholdKey, c fleet.Category) *Threshold {
	if c == "" {
		c = "M1"
	}
	for i := range ts {
		t := &ts[i]
		if t.Key == key && (len(t.Categories) == 0 || slices.Contains(t.Categories, c)) {
			return t
		}
	}
	return nil
}
