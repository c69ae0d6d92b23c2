package ingest

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

// today in these tests is 1 March 2026. Names and numbers are invented.
func TestAbsencesFile(t *testing.T) {
	file := `Vehicle;Workshop;From (dd/mm/yyyy);To;Days;Hours;Why
Bus 1;;06/07/2026;17/07/2026;;;school trip
Bus 2;;06/07/2026;;;;
Bus 3;;06/07/2026;;Monday, Fri;;term
Bus 4;;;31.12.2026;;;
Bus 5;;;;Mon-Wed;;
;Harbour;24/12/2026;;;;Midwinter
;Harbour;06/07/2026;17/07/2026;;7,5;leave
`
	r, err := NewReader(strings.NewReader(file), "away.csv", Options{Today: today})
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind() != Absences {
		t.Fatalf("got kind %s", r.Kind())
	}
	rows, err := readAll(r)
	if err != nil || r.Refused() != 0 {
		t.Fatalf("got %v, %d refused: %q", err, r.Refused(), showProblems(r.Problems()))
	}
	var got []AbsenceRow
	for _, x := range rows {
		got = append(got, *x.Absence)
	}
	d := func(s string) *fleet.Date {
		day, err := fleet.ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		return &day
	}
	want := []AbsenceRow{
		{Vehicle: &fleet.Absence{First: d("2026-07-06"), Last: d("2026-07-17"), Reason: "school trip"}},
		{Vehicle: &fleet.Absence{First: d("2026-07-06"), Last: d("2026-07-06")}},
		{Vehicle: &fleet.Absence{First: d("2026-07-06"), Weekdays: 1<<0 | 1<<4, Reason: "term"}},
		{Vehicle: &fleet.Absence{Last: d("2026-12-31")}},
		{Vehicle: &fleet.Absence{Weekdays: 1<<0 | 1<<1 | 1<<2}},
		{Depot: "Harbour", Closure: &fleet.Closure{First: *d("2026-12-24"), Last: *d("2026-12-24"), Reason: "Midwinter"}},
		{Depot: "Harbour", Closure: &fleet.Closure{First: *d("2026-07-06"), Last: *d("2026-07-17"), Technicians: 7.5, Reason: "leave"}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// A line that cannot be meant says where and what to do.
func TestAbsencesRefused(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"nobody", ",,2026-07-06,,,,", "vehicle: blank, and so is the depot"},
		{"both", "Bus 1,Harbour,2026-07-06,,,,", "depot: a vehicle is named too"},
		{"no days", "Bus 1,,,,,,", "first_day: days: give a first and a last day"},
		{"backwards", "Bus 1,,2026-07-06,2026-07-05,,,", "last_day: last day 5 Jul 2026: it lies before the first"},
		{"no date", "Bus 1,,soon,,,,", "first_day: not a date"},
		{"an order nobody declared", "Bus 1,,6/7/2026,,,,", "first_day: the file does not say whether the day or the month comes first"},
		{"a slip in the year", "Bus 1,,2062-07-06,,,,", "first_day: 2062-07-06 is more than five years ahead: correct the year"},
		{"not a day of the week", "Bus 1,,2026-07-06,,Moonday,,", "weekdays: not days of the week"},
		{"half a span", "Bus 1,,2026-07-06,,Mon-,,", "weekdays: not days of the week"},
		{"a span backwards", "Bus 1,,2026-07-06,,Fri-Mon,,", "weekdays: not days of the week"},
		{"never spared", "Bus 1,,,,Mon-Sun,,", "first_day: days of the week: a vehicle that can never be spared"},
		{"hours of a vehicle", "Bus 1,,2026-07-06,,,8,", "technician_hours: a vehicle has none"},
		{"a workshop's week", ",Harbour,2026-07-06,,Mon,,", "weekdays: a workshop's week stands on its page"},
		{"a workshop from when", ",Harbour,,2026-07-06,,,", "first_day: blank: write the first day"},
		{"a long closure", ",Harbour,2026-07-06,2028-07-06,,,", "last_day: last day 6 Jul 2028: longer than 366 days"},
		{"hours in words", ",Harbour,2026-07-06,,,few,", "technician_hours: not a number: write hours a day such as 16"},
		{"hours below nothing", ",Harbour,2026-07-06,,,-1,", "technician_hours: technician hours -1: want 0 for closed"},
		{"more hours than there are", ",Harbour,2026-07-06,2026-07-05,,2001,", "technician_hours: technician hours 2001: want 0 for closed"},
		{"a long reason", "Bus 1,,2026-07-06,2026-07-07,,," + strings.Repeat("x", 201), "reason: longer than 200 characters"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := NewReader(strings.NewReader("vehicle,depot,first_day,last_day,weekdays,technician_hours,reason\n"+tt.line+"\n"), "away.csv", Options{Today: today})
			if err != nil {
				t.Fatal(err)
			}
			rows, err := readAll(r)
			if err != nil || len(rows) != 0 || r.Refused() != 1 {
				t.Fatalf("got %d rows, %d refused, %v", len(rows), r.Refused(), err)
			}
			p := r.Problems()[0]
			if got := p.Column + ": " + p.Message; !strings.HasPrefix(got, tt.want) || p.Line != 2 {
				t.Errorf("got line %d, %q; want line 2, %q", p.Line, got, tt.want)
			}
		})
	}
	_, err := NewReader(strings.NewReader("vehicle,first_day (dd/mm/yyyy),last_day (mm/dd/yyyy)\n"), "away.csv", Options{})
	if want := "declares another order of dates"; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q", err, want)
	}
}
