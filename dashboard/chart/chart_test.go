package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/golden"
	"brakewear/internal/units"
)

// asOf is the day of the invented bus's forecast.
var asOf = fleet.NewDate(2026, 3, 2)

// bus is an invented front axle: pads fitted in June 2024 and again in April
// 2025, measured at both wheels, one reading mistyped, a sensor tripped before
// the first change, 150 km a day.
func bus() (Axle, []fleet.Odometer) {
	km := func(d fleet.Date) float64 { return 412000 + 150*float64(d-fleet.NewDate(2024, 6, 3)) }
	var odo []fleet.Odometer
	var track []forecast.Odometer
	for d := fleet.NewDate(2024, 6, 3); d <= asOf; d += 28 {
		odo = append(odo, fleet.Odometer{Date: d, Km: km(d)})
		track = append(track, forecast.Odometer{Day: forecast.Day(d), Km: km(d)})
	}
	// One typed with a digit too many.
	odo = append(odo, fleet.Odometer{Date: fleet.NewDate(2025, 1, 8), Km: 4435000})
	track = append(track, forecast.Odometer{Day: forecast.Day(fleet.NewDate(2025, 1, 8)), Km: 4435000})
	a := Axle{Track: forecast.CleanOdometer(track)}
	fitted := []fleet.Date{fleet.NewDate(2024, 6, 3), fleet.NewDate(2025, 4, 14)}
	for _, d := range fitted {
		at := km(d)
		a.Fitments = append(a.Fitments, fleet.Fitment{Position: fleet.Position{Axle: 1, Part: fleet.Pad}, Date: d, OdometerKm: &at})
	}
	places := []fleet.Position{
		{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner},
		{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Outer},
		{Axle: 1, Part: fleet.Pad, Side: fleet.Right, Face: fleet.Inner},
		{Axle: 1, Part: fleet.Pad, Side: fleet.Right, Face: fleet.Outer},
	}
	rate := []float64{2.9, 2.4, 2.7, 2.3} // mm per 10,000 km
	read := func(d fleet.Date, since fleet.Date, noise float64) {
		at := km(d)
		for i, p := range places {
			mm := 21 - rate[i]*(at-km(since))/10000 + noise*float64(i%2)
			a.Readings = append(a.Readings, fleet.Reading{Position: p, Date: d, OdometerKm: &at, MM: math.Round(mm*10) / 10})
		}
	}
	read(fleet.NewDate(2024, 9, 2), fitted[0], .2)
	read(fleet.NewDate(2024, 12, 9), fitted[0], -.1)
	a.Readings = append(a.Readings, fleet.Reading{Position: places[0], Date: fleet.NewDate(2025, 4, 7), MM: 3, Tripped: true})
	read(fleet.NewDate(2025, 7, 14), fitted[1], .1)
	read(fleet.NewDate(2025, 11, 3), fitted[1], -.2)
	read(fleet.NewDate(2026, 2, 16), fitted[1], .1)
	typo := fleet.Reading{Position: places[3], Date: fleet.NewDate(2025, 11, 3), MM: 1.1}
	a.Readings = append(a.Readings, typo)

	now := km(asOf)
	f := &forecast.AxleForecast{Axle: 1, AsOf: forecast.Day(asOf), OdometerKm: now, KmPerDay: 150, Limiting: 0}
	f.Basis.SetAside = []forecast.SetAside{{
		Reading: forecast.Reading{Day: forecast.Day(typo.Date), Pos: forecast.Position{Part: forecast.Pad, Side: "right", Face: "outer"}, MM: 1.1},
		Why:     "does not fit the others",
	}}
	for i, p := range places {
		limit := km(fitted[1]) + (21-3.2)/rate[i]*10000
		q := forecast.PositionForecast{
			Pos:         forecast.Position{Part: forecast.Pad, Side: string(p.Side), Face: string(p.Face)},
			Spec:        forecast.Spec{New: 21, Limit: 3.2},
			ThicknessMM: 21 - rate[i]*(now-km(fitted[1]))/10000,
			Crossing:    forecast.Crossing{Km: spread(limit, 2600)},
		}
		for x := km(fitted[1]); x < limit+8000; x += 2000 {
			w := .25 + math.Max(0, x-now)/10000*.9
			mid := 21 - rate[i]*(x-km(fitted[1]))/10000
			q.Path = append(q.Path, forecast.PathPoint{Km: x, Mid: mid, Lo: mid - w, Hi: mid + w})
		}
		f.Positions = append(f.Positions, q)
	}
	f.Crossing = forecast.Crossing{
		Km:  f.Positions[0].Crossing.Km,
		Day: f.Positions[0].Crossing.Km.Map(func(x float64) float64 { return float64(asOf) + (x-now)/150 }),
	}
	a.Forecast = f
	return a, odo
}

// tests are invented: a brake that fades until a job mends it.
func tests() TestSeries {
	s := TestSeries{Name: "efficiency", Label: "efficiency, %", Unit: "%", Limit: 50, Words: "50 % required"}
	for i, y := range []float64{61, 58.5, 57, 53, 49, 63, 62} {
		q := TestPoint{Day: fleet.NewDate(2024, 6, 3) + fleet.Date(91*i), Y: y, Series: i / 5}
		switch i {
		case 4:
			q.Stage = fleet.BeforeJob
		case 5:
			q.Day, q.Stage = s.Points[4].Day+2, fleet.AfterJob
		}
		s.Points = append(s.Points, q)
	}
	return s
}

// spread is a logistic distribution about mid.
func spread(mid, scale float64) forecast.Dist {
	return forecast.DistOf(func(p float64) float64 { return mid + scale*math.Log(p/(1-p)) })
}

func charts() map[string]*Chart {
	a, odo := bus()
	bookBy := forecast.Day(fleet.NewDate(2026, 3, 29))
	return map[string]*Chart{
		"thickness": Thickness(a, forecast.Pad),
		"chance":    Chance(units.Reader{}, a.Forecast, &bookBy, .05),
		"odometer":  Odometer(units.Reader{}, odo, a.Track, a.Forecast.AsOf, 150),
		"tests":     BrakeTests(units.Reader{}, tests()),
		"left":      LiningLeft([]int{3, 8, 9, 19, 15, 16, 10, 20, 14, 7, 11}),
		"limits":    Limits(units.Reader{}, quarter()),
		"hours":     Hours(units.Reader{}, quarter()),
		"cost":      Stack("Cost by month, KR", "KR", []string{"rest of Mar", "Apr"}, []Layer{{"booked", []float64{9010, 0}}, {"parts", []float64{201, 449}}, {"labour", []float64{180, 377}}}),
		"wear":      Ranges("Wear rate by duty", "mm per 10,000 km", duties),
	}
}

// tolerance of a golden file's numbers in px: other processors round
// otherwise, and half a hundredth can tip a printed digit.
const tolerance = .02

func TestGolden(t *testing.T) {
	for name, c := range charts() {
		for size, wh := range map[string][2]float64{"wide": {WideWidth, WideHeight}, "narrow": {NarrowWidth, NarrowHeight}} {
			t.Run(name+" "+size, func(t *testing.T) {
				got := string(c.SVG(wh[0], wh[1]))
				golden.Like(t, filepath.Join("testdata", name+"-"+size+".svg"), got, compare)
			})
		}
	}
}

var number = regexp.MustCompile(`-?\d+(\.\d+)?`)

// compare returns the first difference of two SVG files beyond the tolerance.
func compare(want, got string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	if len(g) != len(w) {
		return fmt.Sprintf("got %d lines, want %d", len(g), len(w))
	}
	for i := range g {
		if number.ReplaceAllString(g[i], "#") != number.ReplaceAllString(w[i], "#") {
			return fmt.Sprintf("line %d: got %s, want %s", i+1, g[i], w[i])
		}
		ng, nw := number.FindAllString(g[i], -1), number.FindAllString(w[i], -1)
		for j := range ng {
			x, _ := strconv.ParseFloat(ng[j], 64)
			y, _ := strconv.ParseFloat(nw[j], 64)
			if math.Abs(x-y) > tolerance {
				return fmt.Sprintf("line %d: got %s, want %s", i+1, g[i], w[i])
			}
		}
	}
	return ""
}

func TestCompareFindsDifferences(t *testing.T) {
	for _, c := range []struct {
		got, want string
		same      bool
	}{
		{`<path d="M1.01 2"/>`, `<path d="M1 2"/>`, true},
		{`<path d="M1.05 2"/>`, `<path d="M1 2"/>`, false},
		{`<path class="s-wear"/>`, `<path class="s-text"/>`, false},
		{"a\nb", "a", false},
	} {
		if got := compare(c.want, c.got) == ""; got != c.same {
			t.Errorf("%q and %q: same %v, want %v", c.got, c.want, got, c.same)
		}
	}
}

// TestSVGIsStrict wants well-formed XML without what a strict content security
// policy forbids, and everything inside the picture.
func TestSVGIsStrict(t *testing.T) {
	for name, c := range charts() {
		svg := c.SVG(WideWidth, WideHeight)
		d := xml.NewDecoder(bytes.NewReader(svg))
		texts := 0
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			e, ok := tok.(xml.StartElement)
			if !ok {
				continue
			}
			if e.Name.Local == "style" || e.Name.Local == "script" {
				t.Errorf("%s: element %s", name, e.Name.Local)
			}
			if e.Name.Local == "text" {
				texts++
			}
			for _, at := range e.Attr {
				if at.Name.Local == "style" || strings.HasPrefix(at.Name.Local, "on") {
					t.Errorf("%s: attribute %s", name, at.Name.Local)
				}
				if at.Name.Local != "d" && at.Name.Local != "x" && at.Name.Local != "y" {
					continue
				}
				for _, n := range number.FindAllString(at.Value, -1) {
					if v, _ := strconv.ParseFloat(n, 64); v < -1 || v > WideWidth+1 {
						t.Errorf("%s: %s=%q leaves the picture", name, at.Name.Local, at.Value)
					}
				}
			}
		}
		if texts < 7 {
			t.Errorf("%s: only %d texts", name, texts)
		}
		if bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
			t.Errorf("%s: a number that is none", name)
		}
		if !strings.Contains(string(svg), `aria-label="`) || c.Alt == "" {
			t.Errorf("%s: nothing says what it shows", name)
		}
	}
}

func TestThicknessTells(t *testing.T) {
	a, _ := bus()
	c := Thickness(a, forecast.Pad)
	svg := string(c.SVG(WideWidth, WideHeight))
	for _, want := range []string{"limit 3.2 mm", "today", "fitted 14 Apr 2025", "left inner", "left outer", "right inner", "right outer", "set aside", "sensor tripped"} {
		if !strings.Contains(svg, ">"+want+"<") {
			t.Errorf("the picture does not say %q", want)
		}
	}
	if want := "left inner is at 7.0 mm now"; !strings.Contains(c.Alt, want) { // 21 - 2.9 * 322 days * 150 km / 10,000
		t.Errorf("alt: got %q, want %q in it", c.Alt, want)
	}
}

// TestAwkward draws what there is little of: a chart comes out, or nil, never
// a panic or a number that is none.
func TestAwkward(t *testing.T) {
	full, odo := bus()
	never := forecast.DistOf(func(float64) float64 { return math.Inf(1) })
	for name, c := range map[string]struct {
		change func(a *Axle)
		drawn  bool
	}{
		"nothing measured, nothing forecast": {func(a *Axle) { *a = Axle{Forecast: &forecast.AxleForecast{Axle: 1, Limiting: -1}} }, false},
		"other part only":                    {func(a *Axle) { a.Forecast.Positions = nil; a.Forecast.Limiting = -1; a.Readings = nil }, false},
		"readings, no forecast":              {func(a *Axle) { a.Forecast.Positions = nil; a.Forecast.Limiting = -1 }, true},
		"forecast, no readings":              {func(a *Axle) { a.Readings = nil }, true},
		"one reading":                        {func(a *Axle) { a.Readings = a.Readings[:1]; a.Fitments = nil }, true},
		"never worn":                         {func(a *Axle) { a.Forecast.Positions[0].Crossing.Km = never }, true},
		"no odometer now":                    {func(a *Axle) { a.Forecast.OdometerKm = math.NaN() }, true},
		"no odometer at all":                 {func(a *Axle) { a.Track = forecast.Track{} }, true},
		"path of no numbers":                 {func(a *Axle) { a.Forecast.Positions[0].Path = []forecast.PathPoint{{Km: math.NaN()}} }, true},
	} {
		t.Run(name, func(t *testing.T) {
			a, _ := bus()
			c.change(&a)
			got := Thickness(a, forecast.Pad)
			if (got != nil) != c.drawn {
				t.Fatalf("drawn %v, want %v", got != nil, c.drawn)
			}
			if got == nil {
				return
			}
			for _, w := range []float64{WideWidth, NarrowWidth} {
				svg := string(got.SVG(w, NarrowHeight))
				if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
					t.Errorf("a number that is none: %s", svg)
				}
			}
		})
	}
	past := *full.Forecast
	past.Crossing.Day = spread(float64(asOf)-90, 10)
	for name, f := range map[string]struct {
		day   forecast.Dist
		drawn bool
	}{
		"unknown": {forecast.Dist{}, false},
		"never":   {never, false},
		"far":     {spread(float64(asOf)+5000, 50), false},
		"past":    {past.Crossing.Day, true},
		"open": {forecast.DistOf(func(p float64) float64 {
			if p > .5 {
				return math.Inf(1)
			}
			return float64(asOf) + 400*p
		}), true},
	} {
		g := *full.Forecast
		g.Crossing.Day = f.day
		c := Chance(units.Reader{}, &g, nil, .05)
		if (c != nil) != f.drawn {
			t.Errorf("chance, %s: drawn %v, want %v", name, c != nil, f.drawn)
			continue
		}
		if c != nil && strings.Contains(string(c.SVG(WideWidth, WideHeight)), "NaN") {
			t.Errorf("chance, %s: a number that is none", name)
		}
	}
	if c := Odometer(units.Reader{}, nil, forecast.Track{}, full.Forecast.AsOf, 0); c != nil {
		t.Error("odometer: drawn from nothing")
	}
	one := odo[:1]
	c := Odometer(units.Reader{}, one, forecast.CleanOdometer([]forecast.Odometer{{Day: forecast.Day(one[0].Date), Km: one[0].Km}}), full.Forecast.AsOf, math.NaN())
	if c == nil || strings.Contains(string(c.SVG(WideWidth, WideHeight)), "NaN") {
		t.Error("odometer: one reading is not drawn, or as no number")
	}
}

func TestPNG(t *testing.T) {
	for name, c := range charts() {
		b, err := c.PNG(WideWidth, WideHeight, 2)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if got := img.Bounds().Size(); got.X != 2*WideWidth || got.Y != 2*WideHeight {
			t.Errorf("%s: got %v, want twice %dx%d", name, got, WideWidth, WideHeight)
		}
		if dir := os.Getenv("BRAKEWEAR_SCREENSHOTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "chart-"+name+".png"), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestNiceStep(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{ // by hand
		{.9, 1}, {1, 1}, {1.4, 1}, {1.5, 2}, {3, 2}, {4, 5}, {8, 10}, {1234, 1000}, {.035, .05}, {0, 1}, {math.Inf(1), 1}, {math.NaN(), 1},
	} {
		if got := niceStep(c.x); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("niceStep(%g): got %g, want %g", c.x, got, c.want)
		}
	}
}

func BenchmarkThicknessSVG(b *testing.B) {
	a, _ := bus()
	for b.Loop() {
		Thickness(a, forecast.Pad).SVG(WideWidth, WideHeight)
	}
}
