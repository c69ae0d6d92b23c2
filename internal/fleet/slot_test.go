package fleet

import (
	"testing"

	"pgregory.net/rapid"
)

// TestFreeSlot puts slots of any length into a day until no more fit: none
// overlap, all lie within the opening hours, and what is refused would indeed
// fit nowhere.
func TestFreeSlot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := WorkDay{Opens: 480, Closes: 480 + Clock(rapid.IntRange(0, 120).Draw(t, "open")), Technicians: 8}
		bays := rapid.IntRange(1, 3).Draw(t, "bays")
		var taken []Slot
		for range rapid.IntRange(0, 12).Draw(t, "asks") {
			want := Slot{
				Minutes: rapid.IntRange(1, 60).Draw(t, "minutes"),
				Bay:     rapid.IntRange(0, bays).Draw(t, "bay"),
			}
			if rapid.Bool().Draw(t, "at a time") {
				want.Starts = Clock(rapid.IntRange(470, 610).Draw(t, "starts"))
			}
			got, ok := FreeSlot(day, bays, taken, want)
			if !ok {
				for bay := 1; bay <= bays; bay++ {
					for at := day.Opens; at+Clock(want.Minutes) <= day.Closes; at++ {
						s := Slot{Bay: bay, Starts: at, Minutes: want.Minutes}
						if (want.Bay == 0 || want.Bay == bay) && (want.Starts == 0 || want.Starts == at) && free(taken, s) {
							t.Fatalf("%+v fits at %+v beside %+v", want, s, taken)
						}
					}
				}
				continue
			}
			if !free(taken, got) || got.Starts < day.Opens || got.Ends() > day.Closes || got.Bay < 1 || got.Bay > bays ||
				want.Bay != 0 && got.Bay != want.Bay || want.Starts != 0 && got.Starts != want.Starts || got.Minutes != want.Minutes {
				t.Fatalf("asked %+v, got %+v beside %+v", want, got, taken)
			}
			taken = append(taken, got)
		}
	})
}

func free(taken []Slot, s Slot) bool {
	for _, o := range taken {
		if o.Overlaps(s) {
			return false
		}
	}
	return true
}

func TestWeekday(t *testing.T) {
	// 2 March 2026 is a Monday (ISO 8601 calendar); days before 1970 too.
	for s, want := range map[string]int{"2026-03-02": 0, "2026-03-08": 6, "1970-01-01": 3, "1969-12-29": 0, "1969-12-28": 6} {
		d, err := ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		if got := d.Weekday(); got != want {
			t.Errorf("%s: got %d, want %d", s, got, want)
		}
	}
}

func TestClock(t *testing.T) {
	for _, c := range []struct {
		in   string
		want string
	}{{"07:30", "07:30"}, {" 7:05 ", "07:05"}, {"23:59", "23:59"}, {"24:00", ""}, {"7.30", ""}, {"", ""}} {
		got, err := ParseClock(c.in)
		if c.want == "" {
			if err == nil {
				t.Errorf("%q: got %s", c.in, got)
			}
			continue
		}
		if err != nil || got.String() != c.want {
			t.Errorf("%q: got %s, %v", c.in, got, err)
		}
	}
}

func TestAbsence(t *testing.T) {
	day := func(s string) *Date {
		d, err := ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		return &d
	}
	monday := Days(0).With(0)
	for _, c := range []struct {
		name  string
		a     Absence
		on    string
		want  bool
		valid bool
	}{
		{"in a range", Absence{First: day("2026-03-02"), Last: day("2026-03-04")}, "2026-03-04", true, true},
		{"after it", Absence{First: day("2026-03-02"), Last: day("2026-03-04")}, "2026-03-05", false, true},
		{"weekday", Absence{Weekdays: monday}, "2026-03-09", true, true},
		{"another weekday", Absence{Weekdays: monday}, "2026-03-10", false, true},
		{"weekday in a range", Absence{First: day("2026-03-03"), Weekdays: monday}, "2026-03-02", false, true},
		{"for good", Absence{First: day("2026-03-03")}, "2030-01-01", true, true},
		{"nothing", Absence{}, "2026-03-02", true, false},
		{"never spared", Absence{Weekdays: allDays}, "2026-03-02", true, false},
		{"backwards", Absence{First: day("2026-03-04"), Last: day("2026-03-02")}, "2026-03-03", false, false},
	} {
		if got := c.a.Covers(*day(c.on)); got != c.want {
			t.Errorf("%s: covers %s: got %v", c.name, c.on, got)
		}
		if err := c.a.Validate(); (err == nil) != c.valid {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
