package dashboard

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// distAt is a distribution all of whose quantiles are x, but known.
func distAt(x float64) forecast.Dist {
	return forecast.Dist{X: slices.Repeat([]float64{x}, len(forecast.Levels))}
}

// Numbers are invented. Ten days after the forecast before, and 1,000 km on, 9.6 mm are
// left where it expected 10 − 2 × 0.1 = 9.8. At the limit the odometer has 120,000 km
// and not 125,000: 5,000 km at (120,000 − 101,000) / 190 = 100 km a day are 50 days.
func TestMoved(t *testing.T) {
	today := fleet.NewDate(2026, 3, 2)
	tell := units.Reader{}
	logged := func(change func(*store.Logged)) []store.Logged {
		l := store.Logged{
			Axle: 1, AsOf: today - 10, LoggedAt: (today - 10).Time(), Model: "full", Readings: 4, Part: fleet.Pad,
			ThicknessMM: 10, LimitMM: 3, Rate: 2, OdometerKm: 100000, DayAtLimit: float64(today + 240), KmAtLimit: 125000,
		}
		if change != nil {
			change(&l)
		}
		return []store.Logged{l}
	}
	now := func(change func(*store.AxleForecast)) *store.AxleForecast {
		f := &store.AxleForecast{AxleForecast: forecast.AxleForecast{
			Axle: 1, Model: "full", AsOf: forecast.Day(today), OdometerKm: 101000, Readings: 8,
			Crossing: forecast.Crossing{Km: distAt(120000), Day: distAt(float64(today + 190))},
			Positions: []forecast.PositionForecast{{
				Pos: forecast.Position{Part: "pad"}, Spec: forecast.Spec{New: 20, Limit: 3},
				ThicknessMM: 9.6, RatePer10000: 2.4, Readings: 8, Since: forecast.Day(today - 300), SinceKnown: true,
			}},
		}}
		if change != nil {
			change(f)
		}
		return f
	}
	readings := []fleet.Reading{{Position: fleet.Position{Axle: 1}, Date: today - 3}, {Position: fleet.Position{Axle: 2}, Date: today - 1}}
	before := []fleet.Reading{{Position: fleet.Position{Axle: 1}, Date: today - 40}}
	const sooner = "Its limit was likely on 28 Oct 2026 then, and is on 8 Sep 2026 now: 50 days sooner."
	for _, c := range []struct {
		name      string
		ls        []store.Logged
		f         *store.AxleForecast
		readings  []fleet.Reading // nil = those above
		corrected []time.Time
		want      *Moved
	}{
		{name: "readings and wear", ls: logged(nil), f: now(nil), want: &Moved{"20 Feb", sooner, []string{
			"New readings of 27 Feb: 0.2 mm more worn than was expected.",
			"It wears 2.40 mm per 10,000 km, and 2.00 was expected.",
		}}},
		// 25,000 km in 250 days before; 19,000 in 380 now are half as many a day. 5,000 km
		// are 100 days at that, and what is left of the 140 later is 240.
		{name: "driven less", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Crossing.Day = distAt(float64(today + 380)) }), want: &Moved{"20 Feb",
			"Its limit was likely on 28 Oct 2026 then, and is on 17 Mar 2027 now: 140 days later.", []string{
				"New readings of 27 Feb: 0.2 mm more worn than was expected.",
				"It wears 2.40 mm per 10,000 km, and 2.00 was expected.",
				"By wear alone it lasts 5,000 km less: 100 days sooner.",
				"It is driven 50 km a day until then, and 100 km was expected: 240 days later.",
			}}},
		{name: "as expected", ls: logged(nil), f: now(func(f *store.AxleForecast) {
			f.Crossing.Day, f.Crossing.Km = distAt(float64(today+240)), distAt(125000)
			f.Positions[0].ThicknessMM, f.Positions[0].RatePer10000 = 9.79, 2.02
		}), want: &Moved{"20 Feb", "Its limit was likely on 28 Oct 2026 then, and still is.", []string{"New readings of 27 Feb: as worn as was expected."}}},
		{name: "nothing measured, learned", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Readings = 4 }), readings: before, want: &Moved{"20 Feb", sooner, []string{
			"It wears 2.40 mm per 10,000 km, and 2.00 was expected: learned from other axles and vehicles.",
		}}},
		{name: "corrected", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Readings, f.Positions[0].RatePer10000 = 4, 2 }), readings: before, corrected: []time.Time{today.Time()}, want: &Moved{"20 Feb", sooner, []string{
			"A value was corrected or set aside on 2 Mar 2026.",
		}}},
		{name: "fewer readings, none new", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Readings = 3 }), readings: before, want: &Moved{"20 Feb", sooner, []string{
			"It wears 2.40 mm per 10,000 km, and 2.00 was expected.",
		}}},
		{name: "one set aside and one new", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Readings, f.Positions[0].RatePer10000 = 4, 2 }), corrected: []time.Time{today.Time()}, want: &Moved{"20 Feb", sooner, []string{
			"A value was corrected or set aside on 2 Mar 2026.", "New readings of 27 Feb: 0.2 mm more worn than was expected.",
		}}},
		{name: "on the day itself, and known then", ls: logged(func(l *store.Logged) { l.AsOf, l.Readings, l.Rate = today-3, 8, 2.4 }), f: now(nil)},
		{name: "on the day itself, and not known then", ls: logged(func(l *store.Logged) { l.AsOf, l.Rate = today-3, 2.4 }), f: now(nil), want: &Moved{"27 Feb", sooner, []string{
			// 10 − 2.4 × 0.1 = 9.76 was expected.
			"New readings of 27 Feb: 0.2 mm more worn than was expected.",
		}}},
		{name: "entered late", ls: logged(func(l *store.Logged) { l.Rate = 2.4 }), f: now(nil), readings: before, want: &Moved{"20 Feb", sooner, []string{
			"New readings: 0.2 mm more worn than was expected.",
		}}},
		// Measured 40 days ago: the forecast of 35 days ago knew, and it is no news.
		{name: "measured long ago", ls: slices.Concat(
			logged(func(l *store.Logged) { l.AsOf, l.Readings, l.Rate = today-7, 8, 2.4 }),
			logged(func(l *store.Logged) { l.AsOf, l.Readings, l.Rate, l.DayAtLimit = today-28, 8, 2.4, float64(today+222) }),
			logged(func(l *store.Logged) { l.AsOf, l.Readings = today-35, 8 }),
			logged(func(l *store.Logged) { l.AsOf = today - 42 }),
		), f: now(nil), readings: before, want: &Moved{Since: "2 Feb", Says: "Its limit was likely on 10 Oct 2026 then, and is on 8 Sep 2026 now: 32 days sooner."}},
		{name: "nothing known then", ls: logged(func(l *store.Logged) { l.Readings = 0 }), f: now(func(f *store.AxleForecast) { f.Positions[0].SinceKnown = false })},
		{name: "new parts on, not measured yet then", ls: logged(func(l *store.Logged) { l.Readings, l.Rate = 0, 2.4 }), f: now(nil), want: &Moved{"20 Feb", sooner, []string{
			"New readings of 27 Feb: 0.2 mm more worn than was expected.",
		}}},
		{name: "parts changed", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Positions[0].Since = forecast.Day(today - 4) }), want: &Moved{"20 Feb", sooner, []string{
			"The parts were changed on 26 Feb: the forecast then was of the ones before.",
		}}},
		{name: "parts found changed", ls: logged(nil), f: now(func(f *store.AxleForecast) {
			f.Positions[0].Since, f.Positions[0].SinceKnown = forecast.Day(today-4), false
		}), want: &Moved{"20 Feb", sooner, []string{
			"The parts were changed by 26 Feb: the forecast then was of the ones before.",
		}}},
		{name: "another limit", ls: logged(func(l *store.Logged) { l.LimitMM, l.Readings, l.Rate, l.Model = 2, 8, 2.4, "linear" }), f: now(nil), readings: before, want: &Moved{"20 Feb", sooner, []string{
			"Its limit is 3.0 mm now, and was 2.0 mm.", "It was forecast by the model “linear” then.",
		}}},
		{name: "another part", ls: logged(func(l *store.Logged) { l.Part = fleet.Rotor }), f: now(nil), want: &Moved{"20 Feb", sooner, []string{
			"The rotor was to be first then, the pad is now.", "New readings of 27 Feb.",
		}}},
		{name: "past its limit now", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.PastLimit = true }), want: &Moved{"20 Feb", "Its limit was likely on 28 Oct 2026 then; it is at or past it now.", []string{
			"New readings of 27 Feb: 0.2 mm more worn than was expected.",
			"It wears 2.40 mm per 10,000 km, and 2.00 was expected.",
		}}},
		{name: "past its limit then", ls: logged(func(l *store.Logged) { l.PastLimit, l.Rate, l.Readings = true, 2.4, 8 }), f: now(nil), readings: before, want: &Moved{Since: "20 Feb", Says: "It was at or past its limit then; that is likely on 8 Sep 2026 now."}},
		{name: "of old, nothing known of the thickness", ls: logged(func(l *store.Logged) {
			l.Part, l.ThicknessMM, l.LimitMM, l.Rate = "", math.NaN(), math.NaN(), math.NaN()
		}), f: now(nil), want: &Moved{"20 Feb", sooner, []string{
			"New readings of 27 Feb.",
		}}},
		{name: "too young to compare with", ls: logged(func(l *store.Logged) { l.AsOf, l.Readings = today-2, 8 }), f: now(nil)},
		{name: "of another axle", ls: logged(func(l *store.Logged) { l.Axle = 2 }), f: now(nil)},
		{name: "none before", f: now(nil)},
		{name: "nothing said on the day itself", ls: append(logged(func(l *store.Logged) { l.AsOf, l.Readings, l.DayAtLimit = today, 0, math.NaN() }), logged(nil)...), f: now(nil), want: &Moved{"20 Feb", sooner, []string{
			"New readings of 27 Feb: 0.2 mm more worn than was expected.",
			"It wears 2.40 mm per 10,000 km, and 2.00 was expected.",
		}}},
		{name: "far away then", ls: logged(func(l *store.Logged) { l.DayAtLimit, l.KmAtLimit = math.NaN(), math.NaN() }), f: now(nil)},
		{name: "nothing to forecast from", ls: logged(nil), f: now(func(f *store.AxleForecast) { f.Limiting = -1 })},
	} {
		if c.readings == nil {
			c.readings = readings
		}
		t.Run(c.name, func(t *testing.T) {
			if d := cmp.Diff(c.want, movedOf(tell, c.f, c.ls, c.readings, c.corrected, today)); d != "" {
				t.Error(d)
			}
		})
	}
}

// A vehicle's page compares with the log, by the axle.
func TestVehicleMoved(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	check(t, parse(t, w.get(bus).Body.String()), []has{{".moved", ""}})
	var past []store.AxleForecast
	err := w.svc.DB.EachHistory(t.Context(), auth.AllFleets(), []int64{w.vehicleID(t, "Bus 1")}, func(h *store.History) error {
		fs, _, err := w.svc.ForecastOf(t.Context(), h, 0, w.svc.Today()-20)
		past = fs
		return err
	})
	if err == nil {
		err = w.svc.DB.LogForecasts(t.Context(), auth.AllFleets(), past)
	}
	if err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get(bus).Body.String()), []has{
		{"#axle-1 .moved h3", "Since the forecast of 10 Feb"}, {"#axle-1 .moved p", "Its limit was likely on"}, {"#axle-2 .moved h3", "*"},
	})
}
