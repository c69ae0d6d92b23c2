package pipeline

import (
	"math"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
)

// Remark points out something about a value on a sheet.
type Remark struct {
	Field string // of the sheet: "odometer", or FieldOf a position
	Code  string // of RemarkWords
	Text  string
	// Doubt says that the value may be wrong: it wants a second look. Otherwise
	// it is only worth knowing.
	Doubt bool
}

// OdometerField is the field of a sheet's odometer.
const OdometerField = "odometer"

// RemarkWords are what remarks say. Words in braces are filled in. The form
// makes the same remarks in the browser, of the same words.
var RemarkWords = map[string]string{
	"limit":      "{v} mm is at or below the limit of {limit} mm.",
	"limit-drum": "{v} mm is at or above the limit of {limit} mm.",
	"new":        "{v} mm is more than a new one has ({new} mm).",
	"new-plate":  "{v} mm is more than a new one has ({new} mm): was the backing plate measured with it?",
	"new-point":  "{v} mm is more than a new one has ({new} mm), and {t} mm would fit: a point left out, or a digit too many?",
	"new-drum":   "{v} mm is less than a new drum has ({new} mm).",
	"gain":       "{d} mm thicker than on {day} ({last} mm), and no new part is on record.",
	"gain-drum":  "{d} mm smaller than on {day} ({last} mm), and no new drum is on record.",
	"above":      "{d} mm above what is likely here ({low} to {high} mm).",
	"below":      "{d} mm below what is likely here ({low} to {high} mm).",
	"faces":      "{d} mm less than the {other} pad of this wheel ({w} mm): over {apart} mm points to seized slide pins or a seized piston.",
	"sides":      "{d} mm less than on the {other} side ({w} mm): over {apart} mm points to a brake that drags, or one that does not work.",
	"km-below":   "Below the {last} km of {day}: a digit missing, run back, or another instrument?",
	"km-miles":   "Below the {last} km of {day}, but read as miles it would fit, as {km} km. If the instrument shows miles, choose mi.",
	"km-retype":  "Below the {last} km of {day}, but read as miles it would fit, as {km} km. If the instrument shows miles, enter {km} km.",
	"km-far":     "{d} km since {day}: further than this vehicle drives in that time, up to about {reach} km.",
	"km-km":      "{d} km since {day}: further than this vehicle drives in that time, but read as km it would fit, as {km} km. If the instrument shows km, choose km.",
	"km-later":   "Above the {next} km of {nextday}, which is later.",
}

// newSlack is by how many mm a value may lie beyond that of a new part:
// specifications are nominal, and gauges read to a tenth at best. Judgement.
const newSlack = 0.5

// kmPerMile is exact.
const kmPerMile = 1.609344

// Entries are the values on a sheet: the odometer in km, nil when blank, and
// mm by position.
type Entries struct {
	OdometerKm *float64
	InMiles    bool // it was typed in miles, and is not taken for miles again
	NoUnit     bool // it was typed where no unit can be chosen
	MM         map[fleet.Position]float64
}

// Remarks compares the entries with what is known and likely, and with each
// other, in the order of the sheet. The browser does the same in form.js: a
// change here is one there.
func (sh *Sheet) Remarks(e Entries) (rs []Remark) {
	if e.OdometerKm != nil && sh.Odometer != nil {
		rs = sh.Odometer.remarks(e, sh.Day)
	}
	for i := range sh.Wheels {
		for j := range sh.Wheels[i].Places {
			p := &sh.Wheels[i].Places[j]
			mm, ok := e.MM[p.Position]
			if !ok {
				continue
			}
			rs = append(rs, p.remarks(mm)...)
			if p.Part != fleet.Pad && p.Part != fleet.Lining {
				continue
			}
			if q := sh.otherFace(p); q != nil {
				rs = append(rs, sh.apart("faces", string(q.Face), p, q, e)...)
			}
			if q := sh.otherSide(p); q != nil {
				rs = append(rs, sh.apart("sides", string(q.Side), p, q, e)...)
			}
		}
	}
	return rs
}

func (o *SheetOdometer) remarks(e Entries, day fleet.Date) []Remark {
	km := *e.OdometerKm
	remark := func(code string, words ...string) []Remark {
		return []Remark{remarkOf(OdometerField, code, true, words...)}
	}
	reach := o.Reach(day)
	miles, asKm := km*kmPerMile, km/kmPerMile
	switch {
	case km < o.Km && !e.InMiles && miles >= o.Km && miles <= reach:
		code := "km-miles"
		if e.NoUnit {
			code = "km-retype"
		}
		return remark(code, "last", kmText(o.Km), "day", dayText(o.Date), "km", kmText(miles))
	case km < o.Km:
		return remark("km-below", "last", kmText(o.Km), "day", dayText(o.Date))
	case km > reach && e.InMiles && !e.NoUnit && asKm >= o.Km && asKm <= reach:
		return remark("km-km", "d", kmText(km-o.Km), "day", dayText(o.Date), "km", kmText(asKm))
	case km > reach:
		return remark("km-far", "d", kmText(km-o.Km), "day", dayText(o.Date), "reach", kmText(reach-o.Km))
	case o.Next != nil && km > o.Next.Km:
		return remark("km-later", "next", kmText(o.Next.Km), "nextday", dayText(o.Next.Date))
	}
	return nil
}

// remarks compares a value with the place's limit, new value and forecast.
func (p *Place) remarks(mm float64) (rs []Remark) {
	grows := p.Part.Grows()
	add := func(code string, doubt bool, words ...string) {
		rs = append(rs, remarkOf(FieldOf(p.Position), code, doubt, append(words, "v", mmText(mm))...))
	}
	if s := p.Spec; s != nil {
		switch {
		case !grows && mm <= s.Limit:
			add("limit", false, "limit", mmText(s.Limit))
		case grows && mm >= s.Limit:
			add("limit-drum", false, "limit", mmText(s.Limit))
		}
		switch {
		case grows && mm < s.New-newSlack:
			add("new-drum", true, "new", mmText(s.New))
			return rs
		case !grows && mm > s.New+newSlack:
			code := "new"
			if p.Part == fleet.Pad || p.Part == fleet.Lining {
				code = "new-plate"
			}
			if l := p.Likely; l != nil && tenths(mm/10) >= tenths(l.Low) && tenths(mm/10) <= tenths(l.High) {
				code = "new-point"
			}
			add(code, true, "new", mmText(s.New), "t", mmText(mm/10))
			return rs
		}
	}
	l := p.Likely
	if l == nil {
		return rs
	}
	above, below := tenths(mm-l.High), tenths(l.Low-mm)
	gain, code := 0., "gain"
	if p.Last != nil {
		gain = tenths(mm - p.Last.MM)
		if grows {
			gain, code = tenths(p.Last.MM-mm), "gain-drum"
		}
	}
	better := above > 0 && !grows || below > 0 && grows // less worn than likely
	switch {
	case better && p.Thinnest: // others of these places may well be thicker
	case better && gain > 0:
		add(code, true, "d", tenthText(gain), "day", dayText(p.Last.Date), "last", mmText(p.Last.MM))
	case above > 0:
		add("above", true, "d", tenthText(above), "low", tenthText(l.Low), "high", tenthText(l.High))
	case below > 0:
		add("below", true, "d", tenthText(below), "low", tenthText(l.Low), "high", tenthText(l.High))
	}
	return rs
}

// apart compares two places that should wear alike, and remarks on the thinner.
// It is in no doubt where the forecast has the same difference, and says nothing
// beside a value that no part has: the fault is that one's.
func (sh *Sheet) apart(code, other string, p, q *Place, e Entries) []Remark {
	a := e.MM[p.Position]
	b, ok := e.MM[q.Position]
	if !ok || sh.ApartMM == 0 || !apart(b-a, sh.ApartMM) {
		return nil
	}
	if q.Spec != nil && b > q.Spec.New+newSlack {
		return nil
	}
	known := p.Likely != nil && q.Likely != nil && apart(q.Likely.Median-p.Likely.Median, sh.ApartMM)
	return []Remark{remarkOf(FieldOf(p.Position), code, !known,
		"d", tenthText(b-a), "other", other, "w", mmText(b), "apart", mmText(sh.ApartMM))}
}

// apart says whether a difference is over what is allowed, and not by the noise
// of binary arithmetic alone.
func apart(d, allowed float64) bool { return d-allowed > 1e-9 }

// otherFace returns the other pad of p's wheel, or nil.
func (sh *Sheet) otherFace(p *Place) *Place {
	at := p.Position
	switch at.Face {
	case fleet.Inner:
		at.Face = fleet.Outer
	case fleet.Outer:
		at.Face = fleet.Inner
	default:
		return nil
	}
	return sh.Place(at)
}

// otherSide returns the place across the axle from p, or nil.
func (sh *Sheet) otherSide(p *Place) *Place {
	at := p.Position
	at.Side = fleet.Left
	if p.Side == fleet.Left {
		at.Side = fleet.Right
	}
	return sh.Place(at)
}

// remarkOf fills the words of a code: name, value, name, value.
func remarkOf(field, code string, doubt bool, words ...string) Remark {
	for i := 0; i < len(words); i += 2 {
		words[i] = "{" + words[i] + "}"
	}
	return Remark{field, code, strings.NewReplacer(words...).Replace(RemarkWords[code]), doubt}
}

// tenths rounds to a tenth of a mm, which is what gauges show.
func tenths(x float64) float64 { return math.Round(10*x) / 10 }

func tenthText(x float64) string { return strconv.FormatFloat(tenths(x), 'f', 1, 64) }

// mmText has one decimal, or two where there are two.
func mmText(x float64) string {
	s := strconv.FormatFloat(math.Round(100*x)/100, 'f', 2, 64)
	return strings.TrimSuffix(s, "0")
}

// kmText has its thousands apart: 25,200.
func kmText(x float64) string {
	s := strconv.FormatFloat(math.Round(x), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func dayText(d fleet.Date) string { return d.Written() }
