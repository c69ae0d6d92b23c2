package ingest

import (
	"strings"
	"testing"
)

// A line of planned visits that cannot be meant says where and what to do. What the
// lines say is invented; what sound ones give is in testdata/samples.txt.
func TestPlannedVisitsRefused(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"nobody", ",2026-07-06,service,", "vehicle: blank"},
		{"no day", "Bus 1,,service,", "day: blank: write the day, such as 2026-07-06"},
		{"no date", "Bus 1,soon,service,", "day: not a date"},
		{"an order nobody declared", "Bus 1,6/7/2026,service,", "day: the file does not say whether the day or the month comes first"},
		{"a slip in the year", "Bus 1,2062-07-06,service,", "day: 2062-07-06 is more than five years ahead: correct the year"},
		{"for nothing", "Bus 1,2026-07-06,,Harbour", "what: blank: say what the visit is for, such as service"},
		{"a long story", "Bus 1,2026-07-06," + strings.Repeat("x", 201) + ",", "what: longer than 200 characters"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := NewReader(strings.NewReader("vehicle,day,what,depot\n"+tt.line+"\n"), "visits.csv", Options{Today: today})
			if err != nil {
				t.Fatal(err)
			}
			rows, err := readAll(r)
			if err != nil || len(rows) != 0 || r.Refused() != 1 || r.Kind() != PlannedVisits {
				t.Fatalf("got %d rows, %d refused, kind %s, %v", len(rows), r.Refused(), r.Kind(), err)
			}
			p := r.Problems()[0]
			if got := p.Column + ": " + p.Message; !strings.HasPrefix(got, tt.want) || p.Line != 2 {
				t.Errorf("got line %d, %q; want line 2, %q", p.Line, got, tt.want)
			}
		})
	}
}

// An event beside an odometer is a trip log's, unless the file's name says otherwise. The lines are invented.
func TestPlannedVisitsByName(t *testing.T) {
	for _, tt := range []struct {
		file, header string
		want         Kind
	}{
		{"planned-visits.csv", "Vehicle,Date,Odometer (km),Location,Event", PlannedVisits},
		{"Visits 2026.csv", "Vehicle,Date,Odometer (km),Purpose", PlannedVisits},
		{"export.csv", "Vehicle,Date,Odometer (km),Location,Event", Odometer},
		{"export.csv", "Vehicle,Date,Odometer (km),Location,Purpose", Odometer},
		{"export.csv", "Vehicle,Date,Mileage,Location,What", PlannedVisits},
		{"planned-visits.csv", "Vehicle,Date,Odometer (km),Location", Odometer},
	} {
		r, err := NewReader(strings.NewReader(tt.header+"\nBus 1,2026-02-01,1,Quay,service\n"), tt.file, Options{Today: today})
		if err != nil {
			t.Errorf("%s: %s: %v", tt.file, tt.header, err)
		} else if r.Kind() != tt.want {
			t.Errorf("%s: %s: got %s, want %s", tt.file, tt.header, r.Kind(), tt.want)
		}
	}
}
