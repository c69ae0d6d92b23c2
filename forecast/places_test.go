package forecast

import "testing"

// The work on a set grows with the cube of its rows: whatever is written down
// for an axle, they stay few, and those of the parts on it now are there.
func TestRowsStayFew(t *testing.T) {
	const visits = 400
	left, right := Position{Pad, "left", "inner"}, Position{Pad, "right", "inner"}
	for _, c := range []struct {
		name  string
		visit func(a *Axle, d Day, km float64)
	}{
		{"one side fitted anew at each visit", func(a *Axle, d Day, km float64) {
			a.Fitments = append(a.Fitments, Fitment{Day: d, Km: km, Pos: left})
			a.Readings = append(a.Readings, Reading{Day: d, Km: km, Pos: left, MM: 19.9})
		}},
		{"a sensor that signals at each visit", func(a *Axle, d Day, km float64) {
			a.Readings = append(a.Readings, Reading{Day: d, Km: km, Pos: left, MM: 4, Tripped: true})
		}},
	} {
		a := Axle{Number: 1, Specs: map[Part]Spec{Pad: {New: 20, Limit: 2}}}
		for i := range visits {
			d, km := Day(19000+i), 100*float64(i)
			c.visit(&a, d, km)
			a.Readings = append(a.Readings, Reading{Day: d, Km: km, Pos: right, MM: 18 - float64(i)/100})
		}
		v, m := &Vehicle{ID: "invented", Axles: []Axle{a}}, &Full{Params: DefaultParams()}
		h := m.history(new(fitter), v, 19000+visits, partOrder[:], unheard)
		sets := h.axles[0].parts[0].sets
		for i, s := range sets {
			if len(s.rows) > 2*mostRows {
				t.Errorf("%s: %d rows in a set", c.name, len(s.rows))
			}
			if last := i == len(sets)-1; last && (s.last(0) == nil || s.last(2) == nil) { // the inner ones
				t.Errorf("%s: a place on the axle now has no reading", c.name)
			}
		}
	}
}
