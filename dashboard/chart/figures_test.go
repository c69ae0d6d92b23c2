package chart

import (
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// TestFigures wants a table behind every chart of a vehicle and of the record,
// whose rows fit its head. The values are invented.
func TestFigures(t *testing.T) {
	drawn := charts()
	// The overview has tables of its own beside its charts.
	for _, name := range []string{"thickness", "chance", "odometer", "tests"} {
		c := drawn[name]
		if c.Figures == nil || len(c.Figures.Rows) < 3 {
			t.Errorf("%s: figures %+v, want a table", name, c.Figures)
			continue
		}
		for _, r := range c.Figures.Rows {
			if len(r) != len(c.Figures.Head) {
				t.Errorf("%s: row %q does not fit the head %q", name, r, c.Figures.Head)
			}
		}
	}
	tests := BrakeTests(units.Reader{}, TestSeries{Name: "efficiency", Label: "efficiency, %", Unit: "%", Points: []TestPoint{{Day: fleet.NewDate(2026, 3, 1), Y: 58.25, Stage: fleet.AfterJob}}})
	promises := Promises(60, []Promise{{Name: "Bus 1", Low: -3, Mid: 4, Up: 9}, {Name: "Bus 2", Low: 2, Mid: 4, Up: 9}})
	for _, c := range []struct {
		name  string
		chart *Chart
		rows  int
		last  []string // cells of the last row
	}{
		{"brake tests", tests, 1, []string{"1 Mar 2026", "58.25", "after a job"}},
		{"promises", promises, 2, []string{"Bus 2", "2", "4", "9", "no"}},
	} {
		f := c.chart.Figures
		if f == nil || len(f.Rows) != c.rows {
			t.Errorf("%s: got %+v, want %d rows", c.name, f, c.rows)
			continue
		}
		for _, r := range f.Rows {
			if len(r) != len(f.Head) {
				t.Errorf("%s: row %q does not fit the head %q", c.name, r, f.Head)
			}
		}
		for i, want := range c.last {
			if got := f.Rows[c.rows-1][i]; got != want {
				t.Errorf("%s: cell %d of the last row: got %q, want %q", c.name, i, got, want)
			}
		}
	}
}
