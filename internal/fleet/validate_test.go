package fleet

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What is entered is taken up to each bound and refused beyond it, in words that
// name what is wrong. All values are invented.
func TestValidate(t *testing.T) {
	nan := math.NaN()
	type valid interface{ Validate() error }
	vehicle := func(change func(*Vehicle)) *Vehicle {
		v := &Vehicle{Number: "Bus 1"}
		change(v)
		return v
	}
	reading := func(change func(*Reading)) *Reading {
		r := &Reading{Position: Position{Axle: 1, Part: Pad}, MM: 7.4}
		change(r)
		return r
	}
	part := func(change func(*StockPart)) *StockPart {
		p := &StockPart{Number: "P 1", Item: ItemPads, PerAxle: 1}
		change(p)
		return p
	}
	workshop := func(change func(*Workshop)) *Workshop {
		w := DefaultWorkshop()
		change(&w)
		return &w
	}
	pads := map[Part]Spec{Pad: {New: 20, Limit: 3}}
	for _, c := range []struct {
		name string
		what valid
		want string // in the message; "" = taken
	}{
		{"a vehicle", vehicle(func(*Vehicle) {}), ""},
		{"a vehicle of spaces", vehicle(func(v *Vehicle) { v.Number = " " }), "number"},
		{"a category", vehicle(func(v *Vehicle) { v.Category = "M3" }), ""},
		{"no such category", vehicle(func(v *Vehicle) { v.Category = "M4" }), "category"},
		{"the first year", vehicle(func(v *Vehicle) { v.Year = 1950 }), ""},
		{"a year before", vehicle(func(v *Vehicle) { v.Year = 1949 }), "year 1949"},
		{"the last year", vehicle(func(v *Vehicle) { v.Year = 2100 }), ""},
		{"a year after", vehicle(func(v *Vehicle) { v.Year = 2101 }), "year 2101"},
		{"used since the first day", vehicle(func(v *Vehicle) { v.FirstUsed = Earliest }), ""},
		{"used before it", vehicle(func(v *Vehicle) { v.FirstUsed = Earliest - 1 }), "first used"},
		{"used in the year before it was made", vehicle(func(v *Vehicle) { v.Year, v.FirstUsed = 2021, NewDate(2020, 1, 1) }), ""},
		{"used before that", vehicle(func(v *Vehicle) { v.Year, v.FirstUsed = 2021, NewDate(2019, 12, 31) }), "made in 2021"},
		{"no such actuation", vehicle(func(v *Vehicle) { v.Actuation = "steam" }), "actuation"},
		{"as heavy as any", vehicle(func(v *Vehicle) { v.GrossKg = maxTestKg }), ""},
		{"heavier", vehicle(func(v *Vehicle) { v.GrossKg = maxTestKg + 1 }), "gross mass"},
		{"lighter than nothing", vehicle(func(v *Vehicle) { v.GrossKg = -1 }), "gross mass"},
		{"no number of kg", vehicle(func(v *Vehicle) { v.GrossKg = nan }), "gross mass"},

		{"an axle", &Axle{Number: 1, Brake: DiscBrake, Specs: pads}, ""},
		{"an axle's rotors", &Axle{Number: 1, Brake: DiscBrake, Specs: map[Part]Spec{Rotor: {New: 28, Limit: 25}}}, ""},
		{"rotors of a drum brake", &Axle{Number: 1, Brake: DrumBrake, Specs: map[Part]Spec{Rotor: {New: 28, Limit: 25}}}, "a drum brake has none"},
		{"linings and drums", &Axle{Number: 1, Brake: DrumBrake, Specs: map[Part]Spec{Lining: {New: 18, Limit: 5}, Drum: {New: 410, Limit: 414}}}, ""},
		{"a drum of a disc brake", &Axle{Number: 1, Brake: DiscBrake, Specs: map[Part]Spec{Drum: {New: 410, Limit: 414}}}, "a disc brake has none"},
		{"a lining of a disc brake", &Axle{Number: 1, Brake: DiscBrake, Specs: map[Part]Spec{Lining: {New: 18, Limit: 5}}}, "a disc brake has none"},
		{"the last axle", &Axle{Number: MaxAxle, Brake: DrumBrake}, ""},
		{"axle 0", &Axle{Number: 0, Brake: DiscBrake}, "axle 0"},
		{"an axle beyond", &Axle{Number: MaxAxle + 1, Brake: DiscBrake}, "axle 13"},
		{"no brake", &Axle{Number: 1}, "want disc or drum"},
		{"pads of a drum brake", &Axle{Number: 1, Brake: DrumBrake, Specs: pads}, "a drum brake has none"},
		{"a limit of an axle above new", &Axle{Number: 1, Brake: DiscBrake, Specs: map[Part]Spec{Rotor: {New: 28, Limit: 30}}}, "rotor"},

		{"a reading", reading(func(*Reading) {}), ""},
		{"a reading of a face", reading(func(r *Reading) { r.Position.Side, r.Position.Face = Left, Inner }), ""},
		{"worn to nothing", reading(func(r *Reading) { r.MM = 0 }), ""},
		{"as wide as any", reading(func(r *Reading) { r.MM = MaxMM }), ""},
		{"wider", reading(func(r *Reading) { r.MM = MaxMM + 1 }), "value 1001 mm"},
		{"less than nothing", reading(func(r *Reading) { r.MM = -.1 }), "value -0.1 mm"},
		{"no number of mm", reading(func(r *Reading) { r.MM = nan }), "value"},
		{"a reading of axle 0", reading(func(r *Reading) { r.Position.Axle = 0 }), "axle 0"},
		{"a reading of an axle beyond", reading(func(r *Reading) { r.Position.Axle = MaxAxle + 1 }), "axle 13"},
		{"a reading of no part", reading(func(r *Reading) { r.Position.Part = "belt" }), "part"},
		{"no such side", reading(func(r *Reading) { r.Position.Side = "top" }), "side"},
		{"no such face", reading(func(r *Reading) { r.Position.Face = "upper" }), "face"},
		{"the face of a rotor", reading(func(r *Reading) { r.Position.Part, r.Position.Face = Rotor, Inner }), "only a pad has faces"},
		{"an odometer of 0", reading(func(r *Reading) { r.OdometerKm = new(0.0) }), ""},
		{"the highest odometer", reading(func(r *Reading) { r.OdometerKm = new(float64(MaxOdometerKm)) }), ""},
		{"a higher one", reading(func(r *Reading) { r.OdometerKm = new(MaxOdometerKm + 1.0) }), "odometer"},
		{"a fitment of an odometer below 0", &Fitment{Position: Position{Axle: 1, Part: Pad}, OdometerKm: new(-1.0)}, "odometer"},
		{"an odometer's new cluster", &Odometer{Km: 10, PreviousKm: new(200_000.0)}, ""},
		{"what the old cluster cannot have shown", &Odometer{Km: 10, PreviousKm: new(-1.0)}, "odometer"},

		{"a condition", &Condition{Kind: Cracked, Axle: MaxAxle, Side: Left}, ""},
		{"a condition of the vehicle", &Condition{Kind: Cracked}, ""},
		{"no such condition", &Condition{Kind: "shiny"}, "condition"},
		{"a condition of axle -1", &Condition{Kind: Cracked, Axle: -1}, "axle -1"},
		{"a condition of an axle beyond", &Condition{Kind: Cracked, Axle: MaxAxle + 1}, "axle 13"},
		{"a condition of no side", &Condition{Kind: Cracked, Axle: 1, Side: "top"}, "side"},
		{"a side of the vehicle", &Condition{Kind: Cracked, Side: Left}, "name the axle"},
		{"not measured, and not why", &Condition{Kind: NotMeasured, Axle: 1}, "say what is meant"},
		{"noted, and not what", &Condition{Kind: Noted, Axle: 1}, "say what is meant"},
		{"noted", &Condition{Kind: Noted, Note: strings.Repeat("ø", maxConditionNote)}, ""},
		{"noted at length", &Condition{Kind: Noted, Note: strings.Repeat("ø", maxConditionNote+1)}, "shorten"},

		{"a reason", &Reason{Why: "wrong axle", By: "N. N."}, ""},
		{"a reason of spaces", &Reason{Why: " ", By: "N. N."}, "say why"},
		{"nobody's reason", &Reason{Why: "wrong axle", By: " "}, "say who"},
		{"a long reason", &Reason{Why: strings.Repeat("x", maxReason+1), By: "N. N."}, "at most"},
		{"a long name", &Reason{Why: "wrong axle", By: strings.Repeat("x", maxReason+1)}, "at most"},
		{"a move", &AxleMove{Axle: MaxAxle, VehicleID: 2}, ""},
		{"a move to axle 0", &AxleMove{}, "axle 0"},
		{"a move to an axle beyond", &AxleMove{Axle: MaxAxle + 1}, "axle 13"},
		{"a swap", &AxleMove{Axle: 1, Swap: true}, ""},
		{"a swap with another vehicle", &AxleMove{Axle: 1, Swap: true, VehicleID: 2}, "of one vehicle"},

		{"a closure of a day", &Closure{First: 100, Last: 100}, ""},
		{"a closure backwards", &Closure{First: 100, Last: 99}, "before the first"},
		{"the longest closure", &Closure{First: 100, Last: 100 + MaxClosureDays}, ""},
		{"a longer one", &Closure{First: 100, Last: 101 + MaxClosureDays}, "change the week"},
		{"a closure with half the hours", &Closure{Technicians: 4}, ""},
		{"a closure with less than none", &Closure{Technicians: -1}, "technician hours"},
		{"a closure with more than any", &Closure{Technicians: maxTechnicianHours + 1}, "technician hours"},

		{"a stock part", part(func(*StockPart) {}), ""},
		{"a stock part of spaces", part(func(p *StockPart) { p.Number = " " }), "part number"},
		{"a stock part of nothing", part(func(p *StockPart) { p.Item = "wings" }), "item"},
		{"none an axle", part(func(p *StockPart) { p.PerAxle = 0 }), "per axle"},
		{"too many an axle", part(func(p *StockPart) { p.PerAxle = MaxPerAxle + 1 }), "per axle"},
		{"as long a lead time as any", part(func(p *StockPart) { p.LeadDays = MaxLeadDays }), ""},
		{"a longer one", part(func(p *StockPart) { p.LeadDays = MaxLeadDays + 1 }), "lead time"},
		{"there before it is ordered", part(func(p *StockPart) { p.LeadDays = -1 }), "lead time"},
		{"for nothing", part(func(p *StockPart) { p.Price = new(0.0) }), ""},
		{"for less", part(func(p *StockPart) { p.Price = new(-1.0) }), "price"},
		{"for too much", part(func(p *StockPart) { p.Price = new(maxMoney + 1.0) }), "price"},
		{"fits axle -1", part(func(p *StockPart) { p.Fits = []Fit{{Axle: -1}} }), "axle -1"},
		{"fits an axle beyond", part(func(p *StockPart) { p.Fits = []Fit{{Axle: MaxAxle + 1}} }), "axle 13"},
		{"none on the shelf", part(func(p *StockPart) { p.Stock = []Stock{{Quantity: 0}} }), ""},
		{"fewer", part(func(p *StockPart) { p.Stock = []Stock{{Quantity: -1}} }), "stock -1"},
		{"too many on the shelf", part(func(p *StockPart) { p.Stock = []Stock{{Quantity: MaxStock + 1}} }), "stock"},

		{"a workshop", workshop(func(*Workshop) {}), ""},
		{"no bay", workshop(func(w *Workshop) { w.Bays = 0 }), "bays"},
		{"too many bays", workshop(func(w *Workshop) { w.Bays = MaxBays + 1 }), "bays"},
		{"open round the clock", workshop(func(w *Workshop) { w.Week[6] = WorkDay{0, dayMinutes, 24} }), ""},
		{"open beyond midnight", workshop(func(w *Workshop) { w.Week[6] = WorkDay{0, dayMinutes + 1, 24} }), "opens_6"},
		{"open before midnight", workshop(func(w *Workshop) { w.Week[6] = WorkDay{-1, 60, 1} }), "opens_6"},
		{"closes before it opens", workshop(func(w *Workshop) { w.Week[0] = WorkDay{600, 599, 8} }), "opens_0: Monday"},
		{"fewer technicians than none", workshop(func(w *Workshop) { w.Week[1].Technicians = -1 }), "technicians_1"},
		{"overtime of a day", workshop(func(w *Workshop) { w.Overtime = maxTaskHours }), ""},
		{"more overtime than a day", workshop(func(w *Workshop) { w.Overtime = maxTaskHours + 1 }), "overtime"},
		{"a job of less than no time", workshop(func(w *Workshop) { w.Hours[TaskBleed] = TaskHours{1, -1} }), "heavy_bleed"},
		{"a job of more than a day", workshop(func(w *Workshop) { w.Hours[TaskBleed] = TaskHours{maxTaskHours + 1, 1} }), "light_bleed"},
		{"work that is paid for", workshop(func(w *Workshop) { w.LabourRate = -1 }), "labour_rate"},
		{"damage beyond any", workshop(func(w *Workshop) { w.PastHeavy = maxMoney + 1 }), "past_heavy"},
		{"fluid that never stays", workshop(func(w *Workshop) { w.FluidMonths = 0 }), "fluid_months"},
		{"fluid for ever", workshop(func(w *Workshop) { w.FluidMonths = 121 }), "fluid_months"},
		{"a sentence for a currency", workshop(func(w *Workshop) { w.Currency = "doubloons" }), "currency"},
	} {
		err := c.what.Validate()
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: got %v, want it taken", c.name, err)
		case c.want != "" && (!errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a fault with %q", c.name, err, c.want)
		}
	}
}

// What a change leaves out stays as it was.
func TestChange(t *testing.T) {
	there := Position{Axle: 1, Part: Pad, Side: Left, Face: Inner}
	here := Position{Axle: 2, Part: Pad, Side: Right, Face: Outer}
	was := Reading{Position: there, Date: 100, MM: 7.4, Given: "7.4", Unit: "mm", OdometerKm: new(1000.0)}
	for _, c := range []struct {
		name     string
		change   Change
		want     Reading
		odometer Odometer
	}{
		{"nothing", Change{}, was, Odometer{Date: 100, Km: 1000}},
		{"the place", Change{Position: &here}, Reading{Position: here, Date: 100, MM: 7.4, Given: "7.4", Unit: "mm", OdometerKm: new(1000.0)}, Odometer{Date: 100, Km: 1000}},
		{"the day", Change{Date: new(Date(90))}, Reading{Position: there, Date: 90, MM: 7.4, Given: "7.4", Unit: "mm", OdometerKm: new(1000.0)}, Odometer{Date: 90, Km: 1000}},
		{"the value", Change{MM: new(9.525), Given: "3/8", Unit: "in"}, Reading{Position: there, Date: 100, MM: 9.525, Given: "3/8", Unit: "in", OdometerKm: new(1000.0)}, Odometer{Date: 100, Km: 1000}},
		{"the odometer", Change{OdometerKm: new(900.0)}, Reading{Position: there, Date: 100, MM: 7.4, Given: "7.4", Unit: "mm", OdometerKm: new(900.0)}, Odometer{Date: 100, Km: 900}},
		{"no odometer", Change{NoOdometer: true}, Reading{Position: there, Date: 100, MM: 7.4, Given: "7.4", Unit: "mm"}, Odometer{Date: 100, Km: 1000}},
	} {
		if got, want := c.change.Empty(), c.name == "nothing"; got != want {
			t.Errorf("%s: is empty: got %v, want %v", c.name, got, want)
		}
		r := was
		c.change.Reading(&r)
		if d := cmp.Diff(c.want, r); d != "" {
			t.Errorf("%s of a reading (-want +got):\n%s", c.name, d)
		}
		f := Fitment{Position: was.Position, Date: was.Date, MM: was.MM, OdometerKm: was.OdometerKm}
		c.change.Fitment(&f)
		want := Fitment{Position: c.want.Position, Date: c.want.Date, MM: c.want.MM, OdometerKm: c.want.OdometerKm}
		if d := cmp.Diff(want, f); d != "" {
			t.Errorf("%s of a fitment (-want +got):\n%s", c.name, d)
		}
		o := Odometer{Date: 100, Km: 1000}
		c.change.Odometer(&o)
		if o != c.odometer {
			t.Errorf("%s of an odometer: got %+v, want %+v", c.name, o, c.odometer)
		}
	}
}
