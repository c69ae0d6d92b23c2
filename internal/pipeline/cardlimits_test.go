package pipeline_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A card is not passed while a part that went on, or one that was measured on it and
// stays, is at its limit: 3 mm of 20, as axlesCSV has it.
func TestCardWithPartsAtTheLimit(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		settle(t, db, &c)
		if _, _, err := s.AddBrakeTest(t.Context(), all, stop(bus, s.Today(), fleet.AfterJob, 6), "N. N.", s.Today()); err != nil {
			t.Fatal(err)
		}
		off := func(side fleet.Side, mm float64) fleet.Reading {
			return fleet.Reading{Position: fleet.Position{Axle: 1, Part: fleet.Pad, Side: side, Face: fleet.Inner}, MM: mm}
		}
		fit := func(f pipeline.Fitted) {
			t.Helper()
			if c, err = s.FitParts(t.Context(), all, "N. N.", c.ID, f); err != nil {
				t.Fatal(err)
			}
		}
		against := func(want ...string) {
			t.Helper()
			c, h, err := s.JobCard(t.Context(), all, c.ID)
			if err != nil {
				t.Fatal(err)
			}
			tests, err := s.CardTests(t.Context(), all, &c)
			if err != nil {
				t.Fatal(err)
			}
			if got := strings.Join(pipeline.Against(&c, &h, tests), "; "); got != strings.Join(want, "; ") {
				t.Errorf("against: got %q, want %q", got, want)
			}
		}
		fit(pipeline.Fitted{
			Off: []fleet.Reading{off(fleet.Left, 2.8), off(fleet.Right, 3)},
			On:  []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Side: fleet.Left, MM: 2.9}},
		})
		const went = "axle 1 left pad: 2.9 mm went on, and its limit is 3.0 mm"
		const stays = "axle 1 right inner pad: 3.0 mm was measured, no new one went on, and its limit is 3.0 mm"
		against(went, stays)
		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), went) {
			t.Errorf("passed: got %v", err)
		}
		if c, _, err = s.UndoPart(t.Context(), all, c.ID, c.Parts[0].ID, fleet.Reason{Why: "mistyped", By: "N. N."}); err != nil {
			t.Fatal(err)
		}
		fit(pipeline.Fitted{On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad}}})
		against()
		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); err != nil {
			t.Errorf("passed: got %v", err)
		}
	})
}

// What stands against passing a card of axle 1, by what was measured and fitted: the
// last value of the job's days counts, unless that very place was renewed since.
// Invented values.
func TestAtLimit(t *testing.T) {
	day := fleet.NewDate(2026, time.March, 2)
	inner := fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}
	of := func(change func(*fleet.Position)) fleet.Position {
		p := inner
		change(&p)
		return p
	}
	read := func(on fleet.Date, p fleet.Position, mm float64) fleet.Reading {
		return fleet.Reading{Date: on, Position: p, MM: mm}
	}
	worn := []fleet.Reading{read(day, inner, 3)}
	fitted := func(on fleet.Date, p fleet.Position) []fleet.Fitment { return []fleet.Fitment{{Date: on, Position: p}} }
	const stays = "axle 1 left inner pad: 3.0 mm was measured, no new one went on, and its limit is 3.0 mm"
	for _, c := range []struct {
		name   string
		read   []fleet.Reading
		fitted []fleet.Fitment
		parts  []fleet.CardPart
		want   string
	}{
		{"at the limit", worn, nil, nil, stays},
		{"above it", []fleet.Reading{read(day, inner, 3.1)}, nil, nil, ""},
		{"before the job", []fleet.Reading{read(day-1, inner, 3)}, nil, nil, ""},
		{"an axle that is not worked on", []fleet.Reading{read(day, of(func(p *fleet.Position) { p.Axle = 2 }), 3)}, nil, nil, ""},
		{"read anew", append(worn, read(day+1, inner, 3.2)), nil, nil, ""},
		{"read anew at the limit", []fleet.Reading{read(day, inner, 3.2), read(day+1, inner, 3)}, nil, nil, stays},
		{"the other face is worn too", append(worn, read(day, of(func(p *fleet.Position) { p.Face = fleet.Outer }), 2)), nil, nil,
			stays + "; axle 1 left outer pad: 2.0 mm was measured, no new one went on, and its limit is 3.0 mm"},
		{"renewed", worn, fitted(day, inner), nil, ""},
		{"all of the axle renewed", worn, fitted(day+1, fleet.Position{Axle: 1, Part: fleet.Pad}), nil, ""},
		{"renewed before it was read", worn, fitted(day-1, inner), nil, stays},
		{"another axle renewed", worn, fitted(day, of(func(p *fleet.Position) { p.Axle = 2 })), nil, stays},
		{"another part renewed", worn, fitted(day, fleet.Position{Axle: 1, Part: fleet.Rotor}), nil, stays},
		{"the other side renewed", worn, fitted(day, of(func(p *fleet.Position) { p.Side = fleet.Right })), nil, stays},
		{"the other face renewed", worn, fitted(day, of(func(p *fleet.Position) { p.Face = fleet.Outer })), nil, stays},
		{"a worn rotor went on", nil, nil, []fleet.CardPart{{Axle: 1, Part: fleet.Rotor, MM: 37}}, "axle 1 rotor: 37.0 mm went on, and its limit is 37.0 mm"},
		{"and was taken back", nil, nil, []fleet.CardPart{{Axle: 1, Part: fleet.Rotor, MM: 37, Undone: &fleet.Aside{}}}, ""},
		{"a worn drum", []fleet.Reading{read(day, fleet.Position{Axle: 3, Part: fleet.Drum, Side: fleet.Left}, 414)}, nil, nil,
			"axle 3 left drum: 414.0 mm was measured, no new one went on, and its limit is 414.0 mm"},
		{"a drum below its limit", []fleet.Reading{read(day, fleet.Position{Axle: 3, Part: fleet.Drum, Side: fleet.Left}, 413.9)}, nil, nil, ""},
		{"a part of which no limit is known", []fleet.Reading{read(day, fleet.Position{Axle: 3, Part: fleet.Lining, Side: fleet.Left}, 1)}, nil, nil, ""},
	} {
		disc := map[fleet.Part]fleet.Spec{fleet.Pad: {New: 20, Limit: 3}, fleet.Rotor: {New: 45, Limit: 37}}
		h := store.History{Readings: c.read, Fitments: c.fitted, Axles: []fleet.Axle{
			{Number: 1, Brake: fleet.DiscBrake, Specs: disc}, {Number: 2, Brake: fleet.DiscBrake, Specs: disc},
			{Number: 3, Brake: fleet.DrumBrake, Specs: map[fleet.Part]fleet.Spec{fleet.Drum: {New: 410, Limit: 414}}},
		}}
		card := fleet.Card{Day: day, Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}, {Axle: 3, Item: fleet.ItemLinings}}, Parts: c.parts}
		if got := strings.Join(pipeline.Against(&card, &h, pipeline.CardTests{}), "; "); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// What goes on at its limit, or with more than a new part has, wants a second look.
func TestOnDoubts(t *testing.T) {
	h := store.History{Axles: []fleet.Axle{
		{Number: 1, Brake: fleet.DiscBrake, Specs: map[fleet.Part]fleet.Spec{fleet.Pad: {New: 20, Limit: 3, Source: "maker"}, fleet.Rotor: {New: 45, Limit: 37, Source: "maker"}}},
		{Number: 2, Brake: fleet.DrumBrake, Specs: map[fleet.Part]fleet.Spec{fleet.Drum: {New: 410, Limit: 414, Source: "maker"}}},
	}}
	for _, c := range []struct {
		name string
		on   fleet.CardPart
		want string
	}{
		{"new", fleet.CardPart{Axle: 1, Part: fleet.Pad, MM: 20.4}, ""},
		{"not measured", fleet.CardPart{Axle: 1, Part: fleet.Pad}, ""},
		{"with the plate", fleet.CardPart{Axle: 1, Part: fleet.Pad, MM: 27}, "27.0 mm is more than a new one has (20.0 mm): was the backing plate measured with it?"},
		{"a worn rotor", fleet.CardPart{Axle: 1, Part: fleet.Rotor, Side: fleet.Left, MM: 37}, "37.0 mm is at or below the limit of 37.0 mm."},
		{"a worn drum", fleet.CardPart{Axle: 2, Part: fleet.Drum, MM: 414.5}, "414.5 mm is at or above the limit of 414.0 mm."},
		{"a small drum", fleet.CardPart{Axle: 2, Part: fleet.Drum, MM: 41}, "41.0 mm is less than a new drum has (410.0 mm)."},
		{"no such axle", fleet.CardPart{Axle: 3, Part: fleet.Pad, MM: 99}, ""},
	} {
		var got []string
		for _, r := range pipeline.OnDoubts(&h, []fleet.CardPart{c.on}) {
			got = append(got, r.Text)
		}
		if got := strings.Join(got, " "); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}
