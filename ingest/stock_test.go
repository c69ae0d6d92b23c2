package ingest

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

// Names and numbers are invented.
func TestPartsFile(t *testing.T) {
	file := `Part No;Fleet;Description;Item;Make;Model;Vehicle;Axle;Per axle;Unit price;Lead time;Depot;On hand
VE-1;Ferry Lines;Front pads;Brake pads;Velquary;Strand 12;;1;;236,50;5;Harbour;4
VE-1;;;;;;;;;;;Hill;0
X-9;;;disc;;;Bus 7;;2;;;;
;;;pads;;;;;;;;;
A;;;glue;;;;;;;;;
B;;;pads;;;;99;;;;;
C;;;pads;;;;;0;;;;
D;;;pads;;;;;;free;;;
E;;;pads;;;;;;;;;3
F;;;pads;;;;;;;;Hill;
G;;;pads;;;;;;;soon;;
1.23457E+15;;;pads;;;;;;;;;
`
	r, err := NewReader(strings.NewReader(file), "stock.csv", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind() != Parts {
		t.Fatalf("got kind %s", r.Kind())
	}
	rows, err := readAll(r)
	if err != nil {
		t.Fatal(err)
	}
	var got []PartRow
	for _, x := range rows {
		got = append(got, *x.Part)
	}
	price, four, none := 236.5, 4, 0
	want := []PartRow{
		{Part: fleet.StockPart{Number: "VE-1", Name: "Front pads", Item: fleet.ItemPads, PerAxle: 1, Price: &price, LeadDays: 5},
			Depot: "Harbour", Stock: &four, Fit: &fleet.Fit{Make: "Velquary", Model: "Strand 12", Axle: 1}, HasPrice: true, HasLead: true},
		{Part: fleet.StockPart{Number: "VE-1", PerAxle: 1}, Depot: "Hill", Stock: &none},
		{Part: fleet.StockPart{Number: "X-9", Item: fleet.ItemRotors, PerAxle: 2}, Fit: &fleet.Fit{Vehicle: "Bus 7"}, HasPerAxle: true},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	var said []string
	for _, p := range r.Problems() {
		if p.Refused {
			said = append(said, p.Column+": "+p.Message)
		}
	}
	wants := []string{
		"Part No: blank", "Item: no part of a brake", "Axle: no axle", "Per axle: want a whole number from 1 to 20", "Unit price: ",
		"Depot: blank, but stock is given", "On hand: blank, but a depot is given", "Lead time: want a whole number from 0 to 730",
		"Part No: a spreadsheet has made a rounded number of this",
	}
	if len(said) != len(wants) {
		t.Fatalf("got %q", said)
	}
	for i, w := range wants {
		if !strings.HasPrefix(said[i], w) {
			t.Errorf("got %q, want %q", said[i], w)
		}
	}
}
