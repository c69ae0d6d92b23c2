package fleet

import (
	"fmt"
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

// A bay is free before and after a slot to the minute, and that of another day or
// depot is another.
func TestOverlaps(t *testing.T) {
	s := Slot{DepotID: 1, Day: 100, Bay: 1, Starts: 600, Minutes: 60}
	for _, c := range []struct {
		name string
		o    Slot
		want bool
	}{
		{"itself", s, true},
		{"up to it", Slot{1, 100, 1, 540, 60}, false},
		{"a minute into it", Slot{1, 100, 1, 540, 61}, true},
		{"from its end", Slot{1, 100, 1, 660, 60}, false},
		{"from a minute before", Slot{1, 100, 1, 659, 60}, true},
		{"within", Slot{1, 100, 1, 620, 10}, true},
		{"around", Slot{1, 100, 1, 500, 300}, true},
		{"another bay", Slot{1, 100, 2, 600, 60}, false},
		{"another day", Slot{1, 101, 1, 600, 60}, false},
		{"another depot", Slot{2, 100, 1, 600, 60}, false},
	} {
		if got, back := s.Overlaps(c.o), c.o.Overlaps(s); got != c.want || back != c.want {
			t.Errorf("%s: got %v and %v, want %v", c.name, got, back, c.want)
		}
	}
}

// The earliest time goes before the lowest bay; no time is free where nobody works.
func TestFirstFreeSlot(t *testing.T) {
	day := WorkDay{Opens: 480, Closes: 600, Technicians: 8}
	taken := []Slot{{Bay: 1, Starts: 480, Minutes: 60}, {Bay: 2, Starts: 500, Minutes: 30}}
	for _, c := range []struct {
		name string
		day  WorkDay
		ask  Slot
		want string // bay and minute of the day; "" = none
	}{
		{"a gap", day, Slot{Minutes: 20}, "2 480"},
		{"no gap", day, Slot{Minutes: 21}, "2 530"},
		{"in a bay", day, Slot{Bay: 1, Minutes: 20}, "1 540"},
		{"at a time", day, Slot{Starts: 485, Minutes: 15}, "2 485"},
		{"at a time that is taken", day, Slot{Starts: 485, Minutes: 16}, ""},
		{"too long", day, Slot{Minutes: 121}, ""},
		{"no time", day, Slot{}, ""},
		{"nobody there", WorkDay{Opens: 480, Closes: 600}, Slot{Minutes: 20}, ""},
		{"closed", WorkDay{Opens: 480, Closes: 480, Technicians: 8}, Slot{Minutes: 20}, ""},
	} {
		got := ""
		if s, ok := FreeSlot(c.day, 2, taken, c.ask); ok {
			got = fmt.Sprint(s.Bay, " ", int(s.Starts))
		}
		if got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A closure holds on its days only, and of several the one that leaves least.
func TestWorkshopDay(t *testing.T) {
	w := DefaultWorkshop()
	const monday = Date(4) // 5 January 1970
	full := WorkDay{Opens: 480, Closes: 1020, Technicians: 8}
	closed := WorkDay{Opens: 480, Closes: 480}
	cs := []Closure{{First: monday + 1, Last: monday + 2, Technicians: 4}, {First: monday + 2, Last: monday + 3}}
	for i, want := range []WorkDay{full, {480, 1020, 4}, closed, closed, full, {}, {}} {
		if got := w.Day(monday+Date(i), cs); got != want {
			t.Errorf("%s: got %+v, want %+v", Weekdays[i], got, want)
		}
	}
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
		{"on its first day", Absence{First: day("2026-03-03")}, "2026-03-03", true, true},
		{"before it", Absence{First: day("2026-03-03")}, "2026-03-02", false, true},
		{"up to a day", Absence{Last: day("2026-03-03")}, "2026-03-04", false, true},
		{"one day", Absence{First: day("2026-03-03"), Last: day("2026-03-03")}, "2026-03-03", true, true},
		{"every day of a range", Absence{First: day("2026-03-03"), Weekdays: allDays}, "2026-03-04", true, true},
		{"six days a week", Absence{Weekdays: allDays >> 1}, "2026-03-08", false, true},
		{"an eighth day", Absence{Weekdays: allDays + 1}, "2026-03-02", false, false},
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
