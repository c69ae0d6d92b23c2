package dashboard

import (
	"fmt"
	"math"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// Plan is the vehicle seen from above, front at the top: the positions where
// they sit, with the thickness estimated now.
type Plan struct {
	Height int
	Say    string // in words
	Axles  []PlanAxle
}

// PlanAxle is one axle of the plan; places are in px of a box 360 wide.
type PlanAxle struct {
	Y      int // of the axle
	Name   string
	Boxes  []PlanBox
	Labels []PlanLabel
	Wheels [2]int // left edges
}

// PlanBox is a part with room for what it measures new, filled as far as it
// is above its limit.
type PlanBox struct {
	X, Y, W, H   float64
	FillX, FillW float64
	Level        int
	First        bool // most likely to be first at its limit
	Known        bool
}

// PlanLabel is a value beside its part.
type PlanLabel struct {
	X, Y   float64
	Anchor string // start, middle, end
	Value  string
	Name   string
	First  bool
}

// Measures of the drawing in px. The pads of a wheel stand on both sides of
// its rotor, so the drawing shows inner and outer as one sees them.
const (
	planWidth  = 360
	planTop    = 64
	planPitch  = 124
	wheelX     = 60
	wheelW     = 22
	outerX     = 87
	innerX     = 108
	padW, padH = 13, 44
	rotorX     = 102
	rotorW     = 4
	rotorH     = 56
)

// planOf draws the axles of h with what is forecast of them.
func planOf(tell units.Reader, h *store.History, fs []store.AxleForecast) Plan {
	p := Plan{Height: planTop + planPitch*len(h.Axles) - 30, Say: "The vehicle from above, front at the top."}
	for i, a := range h.Axles {
		ax := PlanAxle{Y: planTop + planPitch*i, Name: fmt.Sprintf("axle %d", a.Number)}
		ax.Wheels = [2]int{wheelX, planWidth - wheelX - wheelW}
		d := drawing{axle: &ax, y: float64(ax.Y), brake: a.Brake, limiting: -1}
		for j := range fs {
			if fs[j].Axle == a.Number {
				d.positions, d.limiting = fs[j].Positions, fs[j].Limiting
			}
		}
		d.draw(tell)
		p.Say += d.say(tell, a.Number)
		p.Axles = append(p.Axles, ax)
	}
	return p
}

// drawing puts one axle's parts in their places.
type drawing struct {
	axle      *PlanAxle
	y         float64
	brake     fleet.Brake
	positions []forecast.PositionForecast
	limiting  int
}

func (d *drawing) draw(tell units.Reader) {
	for _, side := range []string{"left", "right"} {
		if d.brake == fleet.DrumBrake {
			d.box(side, outerX, innerX+padW-outerX, padH, d.find("lining", side, ""), true)
			d.label(tell, side, innerX+padW+7, d.find("lining", side, ""), "lining")
			d.below(tell, side, d.find("drum", side, ""), "drum")
			continue
		}
		outer, inner := d.find("pad", side, "outer"), d.find("pad", side, "inner")
		either := d.find("pad", side, "")
		if outer < 0 && inner < 0 && either >= 0 {
			d.box(side, outerX, padW, padH, either, false)
			d.box(side, innerX, padW, padH, either, true)
			d.label(tell, side, innerX+padW+7, either, "pad")
		} else {
			d.box(side, outerX, padW, padH, outer, false)
			d.box(side, innerX, padW, padH, inner, true)
			d.label(tell, side, wheelX-6, outer, "outer")
			d.label(tell, side, innerX+padW+7, inner, "inner")
		}
		d.below(tell, side, d.find("rotor", side, ""), "rotor")
	}
	// What was measured as the thinnest of both sides belongs to neither.
	for _, part := range []forecast.Part{forecast.Pad, forecast.Lining, forecast.Rotor, forecast.Drum} {
		if i := d.find(part, "", ""); i >= 0 {
			d.axle.Labels = append(d.axle.Labels, PlanLabel{
				X: planWidth / 2, Y: d.y + 22, Anchor: "middle",
				Value: d.value(tell, i), Name: "thinnest " + string(part), First: i == d.limiting,
			})
			break
		}
	}
}

// find is the index of a position, -1 when there is none.
func (d *drawing) find(part forecast.Part, side, face string) int {
	for i := range d.positions {
		if d.positions[i].Pos == (forecast.Position{Part: part, Side: side, Face: face}) {
			return i
		}
	}
	return -1
}

// mirror is the left edge of something w wide, on the side it belongs to.
func mirror(side string, x, w float64) float64 {
	if side == "left" {
		return x
	}
	return planWidth - x - w
}

// box draws a part w wide; from says that it is filled from its outer edge on
// (an inner pad leans on the rotor that way), else from its inner edge.
func (d *drawing) box(side string, x, w, h float64, i int, from bool) {
	b := PlanBox{X: mirror(side, x, w), Y: d.y - h/2, W: w, H: h, Level: 1, First: i >= 0 && i == d.limiting}
	if i >= 0 {
		q := &d.positions[i]
		if left := leftOf(q.ThicknessMM, q.Spec.New, q.Spec.Limit); !math.IsNaN(left) {
			b.Known = true
			b.Level = wearLevel(q.ThicknessMM, q.Spec.New, q.Spec.Limit)
			b.FillW = math.Max(1, math.Round(w*left*10)/10)
			b.FillX = b.X
			if from != (side == "left") {
				b.FillX = b.X + w - b.FillW
			}
		}
	}
	d.axle.Boxes = append(d.axle.Boxes, b)
}

// label writes a value beside its part: towards the middle of the vehicle, or
// outside the wheel.
func (d *drawing) label(tell units.Reader, side string, x float64, i int, name string) {
	l := PlanLabel{X: mirror(side, x, 0), Y: d.y - 7, Value: d.value(tell, i), Name: name, First: i >= 0 && i == d.limiting}
	inward := x > wheelX
	l.Anchor = "end"
	if inward == (side == "left") {
		l.Anchor = "start"
	}
	d.axle.Labels = append(d.axle.Labels, l)
}

// below writes a value under the wheel, for parts that are measured rarely.
func (d *drawing) below(tell units.Reader, side string, i int, name string) {
	if i < 0 {
		return
	}
	x := rotorX + rotorW/2.
	d.axle.Labels = append(d.axle.Labels, PlanLabel{
		X: mirror(side, x, 0), Y: d.y + rotorH/2 + 16, Anchor: "middle",
		Value: d.value(tell, i), Name: name, First: i == d.limiting,
	})
}

func (d *drawing) value(tell units.Reader, i int) string {
	if i < 0 {
		return "–"
	}
	q := &d.positions[i]
	return tell.MM(string(q.Pos.Part), q.ThicknessMM)
}

// say is the axle in words.
func (d *drawing) say(tell units.Reader, number int) string {
	s := fmt.Sprintf(" Axle %d:", number)
	if len(d.positions) == 0 {
		return s + " nothing measured."
	}
	for i := range d.positions {
		if i > 0 {
			s += ","
		}
		s += " " + within(d.positions[i].Pos) + " " + d.value(tell, i) + " " + tell.ThicknessUnit()
	}
	return s + "."
}
