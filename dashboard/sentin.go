package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// A form carries the units that its fields were labelled with, for its reader
// may choose others, or the phone may keep it, before it is sent. One that does
// not say is in km and mm.

// sentIn returns the units of the form that was sent.
func sentIn(c *gin.Context) (units.Reader, error) {
	r := units.Reader{
		DistanceIn:  units.Distance(c.PostForm("in_distance")),
		ThicknessIn: units.Thickness(c.PostForm("in_thickness")),
	}
	if err := r.Validate(); err != nil {
		return units.Reader{}, fleet.Invalidf("%v", err)
	}
	return r, nil
}

// formReader is how the numbers of a form are told: in the units in which it was
// sent where it comes back with faults, else in the reader's.
func formReader(f *fields, tell units.Reader) units.Reader {
	if f != nil {
		tell.DistanceIn, tell.ThicknessIn = f.in.DistanceIn, f.in.ThicknessIn
	}
	return tell
}

// distanceField asks for a distance; km is what stands in it, nil for nothing.
func distanceField(f *fields, in units.Reader, name, label string, km *float64) Field {
	s := ""
	if km != nil {
		s = in.KmField(*km)
	}
	x := f.field(name, label, s)
	x.Unit, x.Mode = in.DistanceUnit(), "decimal"
	return x
}

// thicknessField asks for a thickness or diameter of a part; value stands in it.
func thicknessField(f *fields, in units.Reader, part fleet.Part, name, label, value string) Field {
	x := f.field(name, label, value)
	x.Unit, x.Mode = in.GaugeUnit(string(part)), keys(in)
	return x
}

// keys are a phone's for a thickness: 9/32 wants one that number pads do not
// have.
func keys(in units.Reader) string {
	if in.ThicknessIn == units.Inches {
		return "text"
	}
	return "decimal"
}

// km reads a distance in the form's unit; a blank is nil. was is what stood in
// the field when it was shown, nil for nothing: left as it was, it is that, to
// the last bit.
func (f *fields) km(name string, was *float64) *float64 {
	if was != nil && f.text(name) == f.in.KmField(*was) {
		return was
	}
	if f.text(name) == "" {
		return nil
	}
	km, err := readKm(f.in, f.text(name))
	if err != nil {
		f.fault(name, "%s", capital(err.Error()))
		return nil
	}
	return &km
}

// readKm reads a distance that was typed in the unit of in. Pages write 178,041,
// and whoever types that means no 178 km.
func readKm(in units.Reader, text string) (float64, error) {
	x, err := ingest.ParseDistance(text, string(units.Kilometres)) // the number alone: in knows the unit
	return in.ToKm(x), err
}

// thickness reads a thickness or diameter of a part in the form's unit; a blank
// is 0. was is as for km, 0 for nothing.
func (f *fields) thickness(name string, part fleet.Part, was float64) ingest.Thickness {
	text := f.text(name)
	switch {
	case text == "":
		return ingest.Thickness{}
	case was != 0 && text == f.in.MMField(string(part), was):
		return ingest.Thickness{MM: was, Given: text, Unit: f.in.GaugeUnit(string(part))}
	}
	x, err := ingest.ParseThickness(text, f.in.GaugeUnit(string(part)))
	if err != nil {
		f.fault(name, "%s", capital(err.Error()))
	}
	return x
}
