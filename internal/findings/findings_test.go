package findings_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/forecast"
	"brakewear/internal/findings"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// The vehicles and readings of these tests are invented; the limits they are
// held against name their sources.

// story is what was measured on a vehicle with one axle.
type story struct {
	h    store.History
	next int64
}

// of begins the story of a vehicle of a category, with disc brakes on axle 1:
// pads 20 to 3 mm, rotors 45 to 37 mm.
func of(c fleet.Category) *story {
	s := &story{next: 1}
	s.h.Vehicle = fleet.Vehicle{ID: 7, Number: "Bus 1", Category: c}
	s.h.Axles = []fleet.Axle{{VehicleID: 7, Number: 1, Brake: fleet.DiscBrake, Specs: map[fleet.Part]fleet.Spec{
		fleet.Pad:   {New: 20, Limit: 3, Source: rules.MakerSource},
		fleet.Rotor: {New: 45, Limit: 37, Source: rules.MakerSource},
	}}}
	return s
}

// drum turns axle 1 into one with drums, 228.6 to 230.6 mm (WP-23).
func (s *story) drum() *story {
	s.h.Axles[0].Brake = fleet.DrumBrake
	s.h.Axles[0].Specs = map[fleet.Part]fleet.Spec{fleet.Drum: {New: 228.6, Limit: 230.6, Source: rules.MakerSource}}
	return s
}

func (s *story) id() int64 { s.next++; return s.next }

// day d of the story, and the odometer then: 100 km a day.
func day(d int) fleet.Date   { return fleet.NewDate(2025, 1, 1) + fleet.Date(d) }
func odometer(d int) float64 { return 100_000 + 100*float64(d) }

func (s *story) read(d int, part fleet.Part, side fleet.Side, face fleet.Face, mms ...float64) *story {
	for _, mm := range mms {
		km := odometer(d)
		s.h.Readings = append(s.h.Readings, fleet.Reading{
			ID: s.id(), VehicleID: 7, Date: day(d), OdometerKm: &km, MM: mm,
			Position: fleet.Position{Axle: 1, Part: part, Side: side, Face: face},
		})
	}
	return s
}

// pads reads all four pads: left inner, left outer, right inner, right outer.
func (s *story) pads(d int, li, lo, ri, ro float64) *story {
	return s.read(d, fleet.Pad, fleet.Left, fleet.Inner, li).read(d, fleet.Pad, fleet.Left, fleet.Outer, lo).
		read(d, fleet.Pad, fleet.Right, fleet.Inner, ri).read(d, fleet.Pad, fleet.Right, fleet.Outer, ro)
}

func (s *story) fit(d int, part fleet.Part) *story { return s.fitOn(d, part, "") }

func (s *story) fitOn(d int, part fleet.Part, side fleet.Side) *story {
	km := odometer(d)
	s.h.Fitments = append(s.h.Fitments, fleet.Fitment{
		ID: s.id(), VehicleID: 7, Date: day(d), OdometerKm: &km, Position: fleet.Position{Axle: 1, Part: part, Side: side},
	})
	return s
}

func (s *story) tick(d int, side fleet.Side, k fleet.ConditionKind) *story {
	s.h.Conditions = append(s.h.Conditions, fleet.Condition{
		ID: s.id(), VehicleID: 7, Axle: 1, Side: side, Kind: k, Date: day(d), Technician: "N. N.",
	})
	return s
}

// tickVehicle ticks a condition of no axle.
func (s *story) tickVehicle(d int, k fleet.ConditionKind) *story {
	s.tick(d, "", k)
	s.h.Conditions[len(s.h.Conditions)-1].Axle = 0
	return s
}

func (s *story) odo(d int, km float64) *story {
	s.h.Odometers = append(s.h.Odometers, fleet.Odometer{ID: s.id(), VehicleID: 7, Date: day(d), Km: km})
	return s
}

// rotor notes how the left rotor turned on a job card.
func (s *story) rotor(d int, runout, variation float64) *story {
	s.h.Rotors = append(s.h.Rotors, fleet.RotorMeasure{
		VehicleID: 7, Axle: 1, Side: fleet.Left, Date: day(d), RunoutMM: &runout, VariationMM: &variation, By: "N. N.",
	})
	return s
}

// by says who took the last reading.
func (s *story) by(technician string) *story {
	s.h.Readings[len(s.h.Readings)-1].Technician = technician
	return s
}

func (s *story) swap(d int, old, fresh float64) *story {
	s.h.Swaps = append(s.h.Swaps, fleet.ClusterSwap{ID: s.id(), VehicleID: 7, Date: day(d), OldKm: old, NewKm: fresh})
	return s
}

func (s *story) own(part fleet.Part, mm float64) *story {
	s.h.Limits = append(s.h.Limits, fleet.AxleLimit{VehicleID: 7, Axle: 1, Part: part, MM: mm})
	return s
}

// tell returns what is found of the story by the full model, as of day 500.
func (s *story) tell() []fleet.Finding {
	known := pipeline.VehicleOf(&s.h)
	m := &forecast.Full{Params: forecast.DefaultParams()}
	v := findings.Vehicle{
		Vehicle: s.h.Vehicle, Axles: s.h.Axles, Odometers: s.h.Odometers, Readings: s.h.Readings, Fitments: s.h.Fitments,
		Limits: s.h.Limits, Conditions: s.h.Conditions, Rotors: s.h.Rotors,
		Model: m, Known: known, Rules: rules.Or(rules.Unset), Thresholds: rules.ThresholdsWith(nil),
	}
	fs := m.Forecast(known, forecast.Day(day(500)), forecast.Options{})
	for i := range fs {
		v.Forecasts = append(v.Forecasts, &fs[i])
	}
	return findings.Of(&v)
}

// worn is a vehicle whose pads wear evenly.
func worn(c fleet.Category) *story {
	return of(c).fit(0, fleet.Pad).
		pads(100, 18, 18.1, 18, 18.1).
		pads(200, 16, 16.1, 15.9, 16.1).
		pads(300, 14, 14.2, 14.1, 14)
}

// inward is a vehicle whose left inner pad wears faster than its outer one.
func inward(c fleet.Category) *story {
	return of(c).fit(0, fleet.Pad).
		pads(100, 17.4, 18.1, 18, 18.1).
		pads(200, 14.6, 16.1, 15.9, 16.1).
		pads(300, 11.9, 14.3, 14.1, 14)
}

func TestFindings(t *testing.T) {
	for _, c := range []struct {
		name   string
		story  *story
		kind   fleet.FindingKind // "" = nothing is found at all
		says   []string
		source string
	}{
		{"even wear", worn("M3"), "", nil, ""},

		// WP-15, disc brake inspection guide (trade press): inner and outer pad
		// of an air disc brake more than 3.5 mm apart.
		{"heavy, 3.5 mm apart", inward("M3").pads(400, 9.1, 12.6, 12, 12.1), "", nil, ""},
		{"heavy, 3.6 mm apart", inward("M3").pads(400, 9, 12.6, 12, 12.1), fleet.UnevenPads,
			[]string{"Axle 1 left: inner pad 9 mm, outer pad 12.6 mm on 5 Feb 2026", "3.6 mm apart; more than 3.5 mm"}, "WP-15"},
		// WP-17.2, brake pad wear guide (trade training press): up to 3 mm is
		// even wear on a car.
		{"car, 3 mm apart", inward("M1").pads(400, 9.4, 12.4, 12, 12.1), "", nil, ""},
		{"car, 3.2 mm apart", inward("M1").pads(400, 9.3, 12.5, 12, 12.1), fleet.UnevenPads, []string{"3.2 mm apart", "more than 3 mm"}, "WP-17.2"},
		{"of no category, 3.2 mm apart", inward("").pads(400, 9.3, 12.5, 12, 12.1), fleet.UnevenPads, nil, "WP-17.2"},
		{"apart, and one of them measured since", inward("M3").pads(400, 9, 12.6, 12, 12.1).read(420, fleet.Pad, fleet.Left, fleet.Inner, 8.7), fleet.UnevenPads,
			[]string{"inner pad 9 mm, outer pad 12.6 mm on 5 Feb 2026"}, "WP-15"},
		{"apart, but new pads since", inward("M1").pads(400, 9.3, 12.5, 12, 12.1).fit(420, fleet.Pad), "", nil, ""},
		{"apart, but less so at the last visit", inward("M1").pads(350, 10.4, 13.5, 13, 13.1).pads(400, 9.4, 12.3, 12, 12.1), "", nil, ""},

		// No published value: a test against the readings' error, see
		// forecast.SidePaces.
		{"left twice as fast", of("M3").fit(0, fleet.Pad).
			pads(100, 16, 16.2, 18, 18.1).pads(200, 12.1, 12, 16, 16.2).pads(300, 8, 8.2, 14, 14.1).pads(400, 4.1, 4, 12.1, 12),
			fleet.UnevenSides, []string{"the left pads wear 2.0 times as fast as the right", "8 mm ahead", "4 visits", "less than once in 1,000,000."}, "error"}, // as rare as is told
		{"left wears alone", of("M3").fit(0, fleet.Pad).
			pads(100, 16, 16.2, 20, 20).pads(200, 12.1, 12, 20, 20).pads(300, 8, 8.2, 20, 20).pads(400, 4.1, 4, 20.1, 20.1),
			fleet.UnevenSides, []string{"the left pads wear while the right hardly do, 16.1 mm ahead"}, "error"}, // 20.1 - 4
		{"a bit faster", of("M3").fit(0, fleet.Pad).
			pads(100, 18, 18.2, 18.2, 18.3).pads(200, 16.1, 16, 16.4, 16.5).pads(300, 14, 14.2, 14.5, 14.7), "", nil, ""},

		// WP-16, disc brake inspection guide (trade press): one pad's ends more
		// than 2 mm apart.
		{"taper of 2 mm", worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 11, 13), fleet.Disagrees, []string{"13 mm"}, ""},
		{"taper of 2.3 mm", worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 10.9, 13.2), fleet.TaperedPad,
			[]string{"Axle 1 left inner pad: measured from 10.9 mm to 13.2 mm", "taper of 2.3 mm"}, "WP-16"},

		{"one end mistyped", worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 12, 120), fleet.Disagrees, []string{"120 mm"}, ""},
		{"two pads of no side 3 mm apart", worn("M3").read(400, fleet.Pad, "", "", 10, 13), fleet.MeasureAgain, []string{"Axle 1 pad: 10 mm"}, "readings"},
		{"one pad by two people", worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 10.9, 13.2).by("A. B."), fleet.Disagrees, nil, ""},

		// WP-12, heavy-brake service manual: rotor 45 mm new, 37 mm replace.
		// 49 CFR 570.59(b): the value embossed on the part.
		{"rotor at its limit", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 37), "", nil, ""},
		{"rotor under its limit", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9), fleet.PastStamped,
			[]string{"Axle 1 left rotor: 36.9 mm on 5 Feb 2026, below its stamped limit of 37 mm"}, "US-29"},
		{"rotor under its limit, but not as last measured", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9).read(410, fleet.Rotor, fleet.Left, "", 37.2), "", nil, ""},
		{"rotor under its limit, the other one renewed", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9).fitOn(401, fleet.Rotor, fleet.Right), fleet.PastStamped, nil, "US-29"},
		{"rotor under its limit, the pads renewed", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9).fit(401, fleet.Pad), fleet.PastStamped, nil, "US-29"},
		{"rotor under its limit, it renewed on the day", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9).fitOn(400, fleet.Rotor, fleet.Left), "", nil, ""},
		{"rotor under the workshop's limit for pads", worn("M3").own(fleet.Pad, 40).read(400, fleet.Rotor, fleet.Left, "", 37.5), "", nil, ""},
		{"rotor under its limit, renewed", worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9).fit(401, fleet.Rotor), "", nil, ""},
		// WP-23, vehicle maker's service manual: drum 228.6 mm new, 230.6 limit.
		{"drum at its limit", of("M1").drum().read(400, fleet.Drum, fleet.Right, "", 230.6), "", nil, ""},
		{"drum over its limit", of("M1").drum().read(400, fleet.Drum, fleet.Right, "", 230.9), fleet.PastStamped,
			[]string{"Axle 1 right drum: 230.9 mm", "above its stamped limit of 230.6 mm"}, "UK-04"},

		// WP-01: at least four places; WP-03.2 and WP-04.2, vehicle makers'
		// service manuals: 0.015 and 0.03 mm.
		{"rotor varies by 0.01 mm", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.91, 44.902), "", nil, ""},
		{"rotor varies by 0.02 mm", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.92, 44.902), fleet.ThicknessVariation,
			[]string{"varies by 0.02 mm (4 places round it", "over 0.015 mm", "others up to 0.03 mm"}, "WP-03.2"},
		{"right rotor varies by 0.02 mm", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.91, 44.902).read(400, fleet.Rotor, fleet.Right, "", 44.9, 44.905, 44.92, 44.902),
			fleet.ThicknessVariation, []string{"Axle 1 right rotor"}, "WP-03.2"},
		{"rotor varies by 0.04 mm", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.94, 44.902), fleet.ThicknessVariation,
			[]string{"varies by 0.04 mm", "over 0.03 mm"}, "WP-04.2"},
		{"rotor measured at three places", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.94), "", nil, ""},
		{"rotor measured to 0.1 mm", worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.8, 44.7, 44.6), "", nil, ""},

		{"noted: varies by 0.015 mm", worn("M1").rotor(400, 0.05, 0.015), "", nil, ""},
		{"noted: varies by 0.02 mm", worn("M1").rotor(400, 0.05, 0.02), fleet.ThicknessVariation, []string{"varies by 0.02 mm (as noted on a job card, 5 Feb 2026)"}, "WP-03.2"},
		// WP-05.1, vehicle makers' service manuals: up to 0.05 mm.
		{"noted: runs out by 0.06 mm", worn("M1").rotor(400, 0.06, 0.01), fleet.RotorRunout,
			[]string{"Axle 1 left rotor: its face runs out by 0.06 mm, as noted on a job card of 5 Feb 2026; up to 0.05 mm"}, "WP-05.1"},
		{"noted better since", worn("M1").rotor(400, 0.06, 0.01).rotor(410, 0.03, 0.01), "", nil, ""},
		{"noted of the rotor before", worn("M1").rotor(400, 0.06, 0.01).fit(401, fleet.Rotor), "", nil, ""},
		{"noted of the rotor fitted", worn("M1").rotor(400, 0.06, 0.01).fit(400, fleet.Rotor), fleet.RotorRunout, nil, "WP-05.1"},

		{"a slipped decimal point", worn("M3").pads(400, 12, 12.1, 1.2, 12).pads(430, 11.4, 11.5, 11.4, 11.5), fleet.Disagrees,
			[]string{"Axle 1 right inner pad: 1.2 mm on 5 Feb 2026 is not used", "disagrees with the other readings"}, "readings"},
		{"thicker than new", worn("M3").pads(400, 12, 12.1, 120, 12), fleet.Disagrees,
			[]string{"120 mm", "less worn than new (20 mm)"}, "readings"},
		{"thin, alone and last", worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 12).read(400, fleet.Pad, fleet.Right, fleet.Inner, 3.2), fleet.MeasureAgain,
			[]string{"Axle 1 right inner pad: 3.2 mm on 5 Feb 2026 is thinner than", "limit 3 mm"}, "readings"},

		{"new pads nobody recorded", of("M3").pads(100, 8, 8.1, 8, 8.1).pads(200, 6, 6.1, 6.1, 6).
			pads(300, 18.2, 18, 18.1, 18.2).pads(400, 16.1, 16.2, 16, 16.1), fleet.PartChange,
			[]string{"the pads grew thicker between 20 Jul 2025 and 28 Oct 2025 (from 6 mm to 18 mm)", "no fitment is recorded"}, "readings"},
		{"new pads, recorded", of("M3").pads(100, 8, 8.1, 8, 8.1).pads(200, 6, 6.1, 6.1, 6).fit(200, fleet.Pad).
			pads(300, 18.2, 18, 18.1, 18.2).pads(400, 16.1, 16.2, 16, 16.1), "", nil, ""},

		{"a slipped decimal point on pads before those nobody recorded", of("M3").pads(100, 8, 8.1, 8, 8.1).pads(150, 7, 0.7, 7.1, 7).pads(200, 6, 6.1, 6.1, 6).
			pads(300, 18.2, 18, 18.1, 18.2).pads(400, 16.1, 16.2, 16, 16.1), fleet.PartChange, nil, "readings"},

		{"odometer ran back once", worn("M3").odo(150, odometer(150)).odo(250, odometer(120)).odo(310, odometer(310)), fleet.OdometerBack,
			[]string{"112,000 km on 8 Sep 2025 is below an earlier reading", "about 125,000 km were to be expected"}, "distance"},
		{"impossible jump", worn("M3").odo(150, odometer(150)).odo(250, 1_125_000).odo(310, odometer(310)), fleet.OdometerJump,
			[]string{"1,125,000 km on 8 Sep 2025 is above a later reading"}, "distance"},
		{"three in miles", worn("M3").odo(150, odometer(150)).odo(310, odometer(310)/1.609344).odo(330, odometer(330)/1.609344).odo(350, odometer(350)/1.609344).odo(400, odometer(400)),
			fleet.OdometerMiles, []string{"3 readings from 7 Nov 2025 to 17 Dec 2025 look like miles, and count 1.609"}, "distance"},
		{"in miles to this day", worn("M3").odo(150, odometer(150)).odo(310, odometer(310)).odo(400, odometer(400)/1.609344).odo(430, odometer(430)/1.609344).odo(450, odometer(450)/1.609344),
			fleet.OdometerMiles, []string{"3 readings from 5 Feb 2026 to 27 Mar 2026 look like miles"}, "distance"},
		{"another instrument", worn("M3").odo(310, odometer(310)).odo(330, 900).odo(400, 7_900).odo(450, 12_900), fleet.OdometerSwap,
			[]string{"it went on from 131,000 km on 7 Nov 2025 to 900 km on 27 Nov 2025"}, "distance"},
		{"another instrument, declared", worn("M3").odo(310, odometer(310)).swap(320, odometer(320), 0).odo(330, 900).odo(400, 7_900).odo(450, 12_900), "", nil, ""},

		// Directive 2014/45/EU, Annex I, 1.1.14(a): cracked is dangerous;
		// 1.1.13(b): contaminated is major.
		{"ticked as cracked", worn("M3").tick(400, fleet.Left, fleet.Cracked), fleet.CrackedPart, []string{"Axle 1 left: cracked, as N. N. noted on 5 Feb 2026"}, "EU-18"},
		{"ticked twice", worn("M3").tick(350, fleet.Left, fleet.Cracked).tick(400, fleet.Left, fleet.Cracked), fleet.CrackedPart, []string{"5 Feb 2026"}, "EU-18"},
		{"ticked as contaminated", worn("M3").tick(400, "", fleet.Contaminated), fleet.ContaminatedPart, []string{"Axle 1: contaminated"}, "EU-17"},
		{"ticked as tapered", worn("M3").tick(400, fleet.Right, fleet.Tapered), fleet.TaperedPad, []string{"Axle 1 right: tapered"}, "WP-16"},
		{"ticked as glazed", worn("M3").tick(400, fleet.Right, fleet.Glazed), fleet.GlazedPart, []string{"glazed"}, "no source"},
		{"ticked, and renewed on the day", worn("M3").tick(400, fleet.Right, fleet.Glazed).fitOn(400, fleet.Pad, fleet.Right), "", nil, ""},
		{"ticked, and the other side renewed", worn("M3").tick(400, fleet.Right, fleet.Glazed).fitOn(401, fleet.Pad, fleet.Left), fleet.GlazedPart, nil, "no source"},
		{"ticked on both sides, and one renewed", worn("M3").tick(400, "", fleet.Glazed).fitOn(401, fleet.Pad, fleet.Left), fleet.GlazedPart,
			[]string{"Axle 1: glazed, as N. N. noted on 5 Feb 2026. Only this was renewed since: left pads."}, "no source"},
		{"ticked on both sides, and the right one renewed", worn("M3").tick(400, "", fleet.Glazed).fitOn(401, fleet.Pad, fleet.Right), fleet.GlazedPart,
			[]string{"Only this was renewed since: right pads."}, "no source"},
		{"ticked on both sides, one renewed, and the other ticked", worn("M3").tick(400, "", fleet.Glazed).fitOn(401, fleet.Pad, fleet.Left).tick(410, fleet.Right, fleet.Glazed), fleet.GlazedPart,
			[]string{"Axle 1 right: glazed, as N. N. noted on 15 Feb 2026."}, "no source"},
		{"ticked on one side, and later on both", worn("M3").tick(400, fleet.Right, fleet.Cracked).tick(410, "", fleet.Cracked), fleet.CrackedPart,
			[]string{"Axle 1: cracked, as N. N. noted on 15 Feb 2026."}, "EU-18"},
		{"the whole vehicle ticked as cracked", worn("M3").tickVehicle(400, fleet.Cracked), fleet.CrackedPart,
			[]string{"Axle 1, as of the whole vehicle: cracked, as N. N. noted on 5 Feb 2026."}, "EU-18"},
		{"the whole vehicle ticked, and renewed", worn("M3").tickVehicle(400, fleet.Glazed).fit(401, fleet.Pad), "", nil, ""},
		{"ticked as cracked, and new pads", worn("M3").tick(400, fleet.Left, fleet.Cracked).fit(401, fleet.Pad), fleet.CrackedPart,
			[]string{"Axle 1 left: cracked, as N. N. noted on 5 Feb 2026. Only this was renewed since: left pads."}, "EU-18"},
		{"ticked as cracked, and a new rotor", worn("M3").tick(400, fleet.Left, fleet.Cracked).fitOn(401, fleet.Rotor, fleet.Left), fleet.CrackedPart,
			[]string{"Only this was renewed since: left rotor."}, "EU-18"},
		{"ticked as cracked, new pads and a new rotor", worn("M3").tick(400, fleet.Left, fleet.Cracked).fit(401, fleet.Pad).fitOn(401, fleet.Rotor, fleet.Left), "", nil, ""},
		{"ticked as glazed, and a new rotor", worn("M3").tick(400, fleet.Left, fleet.Glazed).fitOn(401, fleet.Rotor, fleet.Left), fleet.GlazedPart, nil, "no source"},
		{"ticked on both sides, and both renewed in turn", worn("M3").tick(400, "", fleet.Glazed).fitOn(401, fleet.Pad, fleet.Left).fitOn(402, fleet.Pad, fleet.Right), "", nil, ""},
		{"ticked, and renewed before", worn("M3").tick(400, fleet.Right, fleet.Glazed).fit(399, fleet.Pad), fleet.GlazedPart, nil, "no source"},
		{"ticked, and renewed", worn("M3").tick(400, fleet.Right, fleet.Glazed).fit(401, fleet.Pad), "", nil, ""},
		{"not measured", worn("M3").tick(400, fleet.Right, fleet.NotMeasured), "", nil, ""},

		{"workshop's own limit", worn("M3").own(fleet.Rotor, 40).read(400, fleet.Rotor, fleet.Left, "", 39.5), fleet.PastStamped,
			[]string{"below the workshop's own limit of 40 mm"}, "US-29"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := c.story.tell()
			if c.kind == "" {
				for _, f := range got {
					t.Errorf("got %s: %s", f.Kind, f.Seen)
				}
				return
			}
			if len(got) != 1 || got[0].Kind != c.kind {
				t.Fatalf("got %+v, want one %s", got, c.kind)
			}
			f := got[0]
			for _, want := range c.says {
				if !strings.Contains(f.Seen, want) {
					t.Errorf("got %q, want %q in it", f.Seen, want)
				}
			}
			if !strings.Contains(f.Source, c.source) {
				t.Errorf("got source %q, want %q in it", f.Source, c.source)
			}
			if f.Advice == "" || f.Subject == "" || f.VehicleID != 7 || !f.Kind.Valid() {
				t.Errorf("got %+v", f)
			}
			switch f.Kind {
			case fleet.Disagrees, fleet.MeasureAgain, fleet.OdometerBack, fleet.OdometerJump, fleet.OdometerMiles:
				if f.Record.ID == 0 {
					t.Error("no record to correct")
				}
			}
			if d := cmp.Diff(got, c.story.tell()); d != "" {
				t.Errorf("told again: %s", d)
			}
		})
	}
}

// How much of it there is, by which a finding that was looked at is shown again when it
// has grown: in the unit of its kind, of the values of TestFindings.
func TestFigures(t *testing.T) {
	for _, c := range []struct {
		story *story
		kind  fleet.FindingKind
		want  float64
	}{
		{inward("M3").pads(400, 9, 12.6, 12, 12.1), fleet.UnevenPads, 3.6},
		{worn("M3").read(400, fleet.Pad, fleet.Left, fleet.Inner, 10.9, 13.2), fleet.TaperedPad, 2.3},
		{worn("M3").read(400, fleet.Rotor, fleet.Left, "", 36.9), fleet.PastStamped, .1},
		{of("M1").drum().read(400, fleet.Drum, fleet.Right, "", 230.9), fleet.PastStamped, .3},
		{worn("M1").read(400, fleet.Rotor, fleet.Left, "", 44.9, 44.905, 44.92, 44.902), fleet.ThicknessVariation, .02},
		{worn("M1").rotor(400, 0.06, 0.01), fleet.RotorRunout, .06},
		{of("M3").fit(0, fleet.Pad).pads(100, 16, 16.2, 18, 18.1).pads(200, 12.1, 12, 16, 16.2).pads(300, 8, 8.2, 14, 14.1).pads(400, 4.1, 4, 12.1, 12), fleet.UnevenSides, 8},
	} {
		got := c.story.tell()
		if len(got) != 1 || got[0].Kind != c.kind || got[0].Figure == nil || math.Abs(*got[0].Figure-c.want) > 1e-9 {
			t.Errorf("got %+v, want one %s of %g", got, c.kind, c.want)
		}
	}
}

// What hides a part's readings is a change of that part: pads that nobody recorded say
// nothing of the rotor.
func TestRotorAndUnrecordedPads(t *testing.T) {
	got := of("M3").pads(100, 8, 8.1, 8, 8.1).pads(200, 6, 6.1, 6.1, 6).read(200, fleet.Rotor, fleet.Left, "", 36.9).
		pads(300, 18.2, 18, 18.1, 18.2).pads(400, 16.1, 16.2, 16, 16.1).tell()
	if len(got) != 2 || got[0].Kind != fleet.PastStamped || got[1].Kind != fleet.PartChange {
		t.Errorf("got %+v, want the rotor below its limit and the change of pads", got)
	}
}

// What is to be corrected is the record that the odometer value stands in.
func TestRecordOfOdometer(t *testing.T) {
	back := odometer(120) // below that of day 150
	reading := worn("M3").odo(150, odometer(150)).odo(310, odometer(310))
	reading.h.Readings[4].OdometerKm = &back // day 200
	fitment := worn("M3").odo(150, odometer(150)).odo(310, odometer(310)).fitOn(250, fleet.Rotor, fleet.Left)
	fitment.h.Fitments[1].OdometerKm = &back
	alone := worn("M3").odo(150, odometer(150)).odo(250, back).odo(310, odometer(310))
	for _, c := range []struct {
		story *story
		want  fleet.Record
	}{
		{alone, fleet.Record{Kind: fleet.OdometerRecord, ID: alone.h.Odometers[1].ID}},
		{reading, fleet.Record{Kind: fleet.ReadingRecord, ID: reading.h.Readings[4].ID}},
		{fitment, fleet.Record{Kind: fleet.FitmentRecord, ID: fitment.h.Fitments[1].ID}},
	} {
		got := c.story.tell()
		if len(got) != 1 || got[0].Kind != fleet.OdometerBack || got[0].Record != c.want {
			t.Errorf("got %+v, want an odometer that ran back in %+v", got, c.want)
		}
	}
}

// A crack that was seen does not vanish when something else is seen at the side that stays.
func TestOtherTick(t *testing.T) {
	got := worn("M3").tick(400, "", fleet.Cracked).fitOn(401, fleet.Pad, fleet.Left).tick(410, fleet.Right, fleet.Glazed).tell()
	if len(got) != 2 || got[0].Kind != fleet.CrackedPart || got[1].Kind != fleet.GlazedPart {
		t.Errorf("got %+v, want what was cracked and what was glazed", got)
	}
}

// Each spell of readings in miles is told by itself.
func TestMilesTwice(t *testing.T) {
	s := worn("M3")
	for _, d := range []int{150, 310, 330, 350, 380, 390, 400, 410, 420, 450, 460} {
		km := odometer(d)
		if d >= 310 && d <= 350 || d >= 400 && d <= 420 {
			km /= 1.609344
		}
		s.odo(d, km)
	}
	got := s.tell()
	if len(got) != 2 || !strings.Contains(got[0].Seen, "3 readings from 7 Nov 2025 to 17 Dec 2025") || !strings.Contains(got[1].Seen, "3 readings from 5 Feb 2026 to 25 Feb 2026") {
		t.Errorf("got %+v, want days 310 to 350 and 400 to 420", got)
	}
}

// What the forecast takes for a dragging brake is told where the sides do not show it. Invented.
func TestDrag(t *testing.T) {
	s := worn("M3")
	got := findings.Of(&findings.Vehicle{
		Vehicle: s.h.Vehicle, Axles: s.h.Axles, Readings: s.h.Readings, Fitments: s.h.Fitments,
		Model: forecast.Line{}, Known: pipeline.VehicleOf(&s.h), Rules: rules.Or(rules.Unset), Thresholds: rules.ThresholdsWith(nil),
		Forecasts: []*forecast.AxleForecast{{Axle: 1, AsOf: forecast.Day(day(500)), Basis: forecast.Basis{
			Drags: []forecast.Drag{{Part: forecast.Pad, Side: "left", Pace: 2.04, After: forecast.Day(day(200)), Before: forecast.Day(day(300)), Chance: .83}},
		}}},
	})
	const want = "the left pads wear about 2.0 times as fast since its brake may have begun to drag, between 20 Jul 2025 and 28 Oct 2025 (chance 83 %)"
	if len(got) != 1 || got[0].Kind != fleet.UnevenSides || !strings.Contains(got[0].Seen, want) || !strings.Contains(got[0].Advice, "Check the left brake") {
		t.Errorf("got %+v, want %q", got, want)
	}
}

// A pad that thinned suddenly is to be measured again, and unevenness is told
// all the same: it may be true.
func TestDoubtedAndUneven(t *testing.T) {
	got := worn("M3").pads(400, 8, 12, 12, 12.1).tell()
	if len(got) != 2 || got[0].Kind != fleet.MeasureAgain || got[1].Kind != fleet.UnevenPads || !strings.Contains(got[1].Seen, "in doubt") {
		t.Errorf("got %+v", got)
	}
}

// What is suggested for a change that nobody recorded lies in its gap, at an
// odometer the vehicle had then.
func TestSuggestedFitment(t *testing.T) {
	got := of("M3").pads(100, 8, 8.1, 8, 8.1).pads(200, 6, 6.1, 6.1, 6).
		pads(300, 18.2, 18, 18.1, 18.2).pads(400, 16.1, 16.2, 16, 16.1).tell()
	if len(got) != 1 || got[0].Suggested == nil {
		t.Fatalf("got %+v", got)
	}
	s := got[0].Suggested
	if s.After != day(200) || s.Before != day(300) || s.Date <= s.After || s.Date >= s.Before {
		t.Errorf("got %s within %s and %s, want it between days 200 and 300", s.Date, s.After, s.Before)
	}
	if want := (fleet.Position{Axle: 1, Part: fleet.Pad}); s.Position != want || s.MM != 0 {
		t.Errorf("got %+v, want new pads all round", s.Fitment)
	}
	if km := 100 * float64(s.Date-day(0)); s.OdometerKm == nil || *s.OdometerKm < 100_000+km-1 || *s.OdometerKm > 100_000+km+1 {
		t.Errorf("got %v km on %s, want 100 km a day", s.OdometerKm, s.Date)
	}
}

// A workshop's own threshold is held to instead of the published one.
func TestOwnThreshold(t *testing.T) {
	s := inward("M3").pads(400, 9.4, 12.5, 12, 12.1)
	if got := s.tell(); len(got) != 0 {
		t.Fatalf("got %+v by the published 3.5 mm", got)
	}
	known := pipeline.VehicleOf(&s.h)
	v := findings.Vehicle{
		Vehicle: s.h.Vehicle, Axles: s.h.Axles, Readings: s.h.Readings, Fitments: s.h.Fitments,
		Model: forecast.Line{}, Known: known, Rules: rules.Or(rules.Unset), Thresholds: rules.ThresholdsWith(map[string]float64{"WP-15": 2.5}),
	}
	if got := findings.Of(&v); len(got) != 1 || got[0].Kind != fleet.UnevenPads || !strings.Contains(got[0].Seen, "more than 2.5 mm") {
		t.Errorf("got %+v by 2.5 mm", got)
	}
}
