package rules

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Value is one published value, as its document prints it.
type Value struct {
	ID         string
	Quantity   string
	Text       string // as printed; some are words, such as "maker's limit"
	Unit       string // as printed
	Comparison string // as worded: "below fails", "or below fails", "above fails", …
	Class      string // of vehicles, in the document's words
	Axle       string
	Brake      string
	Source     string
	Section    string
	Known      Known
}

// Known says how a value came to be known.
type Known string

const (
	Read         Known = "read"      // seen in a stored copy of the document or of one that reprints it
	Memory       Known = "memory"    // not seen
	OwnJudgement Known = "judgement" // nobody's but this program's
)

// Number returns the value in mm, m, m/s², N, kg, km/h or %, whichever its
// unit is of; NaN where it is words.
func (v *Value) Number() float64 {
	x, err := strconv.ParseFloat(v.Text, 64)
	if err != nil {
		return math.NaN()
	}
	return x * factors[v.Unit]
}

// factors lead to the unit inside. 1 in = 25.4 mm, 1 ft = 0.3048 m and 1 mi =
// 1.609344 km exactly.
var factors = map[string]float64{
	"mm": 1, "in": 25.4,
	"m": 1, "ft": 0.3048,
	"m/s2": 1, "ft/s2": 0.3048,
	"km/h": 1, "mph": 1.609344,
	"N": 1, "kg": 1,
	"%": 1, "% points": 1, "% of limit": 1, "% of max stroke": 1,
}

// Side is on which side of a limit the fault lies.
type Side int

const (
	Below   Side = iota + 1 // less than the limit
	OrBelow                 // the limit or less
	Above                   // more than the limit
)

// Side returns the side that v's comparison names, 0 where it has none.
func (v *Value) Side() Side {
	switch word, rest, _ := strings.Cut(v.Comparison, " "); {
	case word == "below":
		return Below
	case word == "or" && strings.HasPrefix(rest, "below"):
		return OrBelow
	case word == "above":
		return Above
	}
	return 0
}

// sameWithin is how near two numbers count as equal, as a share of the larger:
// far above the noise of binary arithmetic, so that exactly 30 % is 30 %, and
// far below what anybody measures.
const sameWithin = 1e-9

// Fails says whether x lies on the wrong side of limit.
func (s Side) Fails(x, limit float64) bool {
	same := math.Abs(x-limit) <= sameWithin*math.Max(math.Abs(x), math.Abs(limit))
	switch s {
	case Below:
		return x < limit && !same
	case OrBelow:
		return x < limit || same
	case Above:
		return x > limit && !same
	}
	return false
}

// stricter says whether limit a with side s leaves less room than b with t.
func stricter(a float64, s Side, b float64, t Side) bool {
	switch {
	case a == b:
		return s == OrBelow && t == Below
	case s == Above:
		return a < b
	}
	return a > b
}

//go:embed values.csv
var valuesCSV string

// values in the order of the table.
var values, valueOf = readValues()

// Lookup returns the value of an id.
func Lookup(id string) (*Value, bool) {
	v, ok := valueOf[id]
	return v, ok
}

func readValues() ([]*Value, map[string]*Value) {
	var list []*Value
	of := map[string]*Value{}
	for r := range table("values.csv", valuesCSV) {
		v := &Value{
			ID:         r("id"),
			Quantity:   r("quantity"),
			Text:       r("value"),
			Unit:       r("unit"),
			Comparison: r("comparison"),
			Class:      r("vehicle_class"),
			Axle:       r("axle"),
			Brake:      r("brake_type"),
			Source:     r("source"),
			Section:    r("section"),
			Known:      Known(r("known")),
		}
		list = append(list, v)
		of[v.ID] = v
	}
	return list, of
}

// table yields the rows of an embedded table, each as a function from a
// column's name to its cell. A fault in it is a fault of the program.
func table(name, text string) func(yield func(cell func(column string) string) bool) {
	return func(yield func(func(string) string) bool) {
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			panic(fmt.Sprintf("%s: %v", name, err))
		}
		at := map[string]int{}
		for i, c := range rows[0] {
			at[c] = i
		}
		for _, row := range rows[1:] {
			cell := func(column string) string {
				i, ok := at[column]
				if !ok {
					panic(fmt.Sprintf("%s: no column %s", name, column))
				}
				return row[i]
			}
			if !yield(cell) {
				return
			}
		}
	}
}

// mustValue is Lookup for the tables, whose ids the tests check.
func mustValue(id string) *Value {
	v, ok := valueOf[id]
	if !ok {
		panic("no value " + id)
	}
	return v
}
