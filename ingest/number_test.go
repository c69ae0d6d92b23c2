package ingest

import (
	"fmt"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestDecimals: any number of decimals is read as strconv.ParseFloat does, to the last bit.
func TestDecimals(t *testing.T) {
	for n := range 15 {
		s := "7." + "123456789012345"[:n]
		want, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, fault := parseNumber(s, false, false); got != want || fault != "" {
			t.Errorf("%s: got %v, %q", s, got, fault)
		}
	}
}

// TestUnitTyped: a program writes numbers that are clear; a cell with a unit
// behind its number was typed, in a workbook and in JSON as in text.
func TestUnitTyped(t *testing.T) {
	const doubt = "may be thousands or decimals: write it without a sign between thousands, such as "
	weight := []any{"vehicle", "date", "method", "weight_kg", "axle", "side", "force_n"}
	roller := func(weight, force any) []any {
		return []any{"Bus 1", "2026-02-01", "roller", weight, 1, "left", force}
	}
	for _, c := range []struct {
		name   string
		header []any
		row    []any
		want   string // the row
		fault  string
	}{
		{"thousands or decimals of km", odoRows[0], []any{"Bus 1", "2026-02-01", "155.000 km"}, "", `odometer_km "155.000 km": ` + doubt + "155000"},
		{"of miles", odoRows[0], []any{"Bus 1", "2026-02-01", "96,000 mi"}, "", `odometer_km "96,000 mi": ` + doubt + "96000"},
		{"of kg", weight, roller("12.000 kg", 2700), "", `weight_kg "12.000 kg": ` + doubt + "12000"},
		{"of N", weight, roller(12000, "1.234 N"), "", `force_n "1.234 N": ` + doubt + "1234"},
		{"a clear number with its unit", odoRows[0], []any{"Bus 1", "2026-02-01", "155000.5 km"}, "Bus 1: 2026-02-01 155000 km", ""},
		{"a number alone", odoRows[0], []any{"Bus 1", "2026-02-01", 155.125}, "Bus 1: 2026-02-01 155.125 km", ""},
	} {
		var items string
		for i, x := range c.row {
			items += fmt.Sprintf(",%q:", c.header[i])
			if s, ok := x.(string); ok {
				items += fmt.Sprintf("%q", s)
			} else {
				items += fmt.Sprint(x)
			}
		}
		for _, f := range []struct {
			name, text string
			line       int
		}{
			{"XLSX", string(book(t, nil, [][]any{c.header, c.row})), 2},
			{"JSON", "[{" + items[1:] + "}]", 1},
		} {
			t.Run(f.name+", "+c.name, func(t *testing.T) {
				rows, r := mustRead(t, f.text, Options{})
				var want []string
				if c.want != "" {
					want = []string{fmt.Sprintf("%d %s", f.line, c.want)}
				}
				if d := cmp.Diff(want, showAll(rows)); d != "" {
					t.Errorf("rows (-want +got):\n%s", d)
				}
				faults := showProblems(r.Problems())
				if c.fault == "" {
					if len(faults) > 0 {
						t.Errorf("got %q, want no problem", faults)
					}
					return
				}
				if w := fmt.Sprintf("%d refused %s", f.line, c.fault); len(faults) == 0 || faults[len(faults)-1] != w {
					t.Errorf("got %q, want %q", faults, w)
				}
			})
		}
	}
}
