package ingest

import (
	"bytes"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"brakewear/internal/fleet"
)

// What is written reads back as it was, formulas as text.
func TestSheet(t *testing.T) {
	s, err := NewSheet("plan", []string{"vehicle", "day", "hours", "done"})
	if err != nil {
		t.Fatal(err)
	}
	day := fleet.NewDate(2026, 3, 2)
	for _, row := range [][]any{
		{`=HYPERLINK("x")`, day, 1.5, true},
		{"Bus <1>", (*fleet.Date)(nil), math.NaN(), false},
		{fleet.ItemPads, &day, 7, nil},
	} {
		if err := s.Row(row...); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if _, err := s.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := f.GetRows("plan")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([][]string{
		{"vehicle", "day", "hours", "done"},
		{`=HYPERLINK("x")`, "2026-03-02", "1.5", "TRUE"},
		{"Bus <1>", "", "", "FALSE"},
		{"pads", "2026-03-02", "7"},
	}, got); d != "" {
		t.Error(d)
	}
	for _, cell := range []string{"A2", "A3"} {
		if formula, err := f.GetCellFormula("plan", cell); err != nil || formula != "" {
			t.Errorf("%s is the formula %q, %v", cell, formula, err)
		}
	}
}
