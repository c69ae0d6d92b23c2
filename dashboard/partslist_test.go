package dashboard

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// What is to be ordered first leads, then what no part is known for, the most of it
// first, then what there is enough of.
func TestPartsByToDo(t *testing.T) {
	day := func(d fleet.Date) *fleet.Date { return &d }
	ns := []pipeline.PartNeed{
		{Part: fleet.StockPart{ID: 1, Number: "A"}},
		{Part: fleet.StockPart{ID: 2, Number: "B"}, Short: 1, OrderBy: day(20)},
		{For: "few", Expected: 1},
		{Part: fleet.StockPart{ID: 3, Number: "C"}, Short: 1, OrderBy: day(10)},
		{For: "many", Expected: 4},
		{Part: fleet.StockPart{ID: 4, Number: "D"}},
	}
	slices.SortStableFunc(ns, byToDo)
	var got []string
	for _, n := range ns {
		got = append(got, n.Part.Number+n.For)
	}
	if want := "C B many few A D"; strings.Join(got, " ") != want {
		t.Errorf("got %q, want %s", got, want)
	}
}

// Of very many parts the page shows the first, and says where the others are.
func TestPartsListIsBounded(t *testing.T) {
	w := small(t)
	var vehicles, axles, readings strings.Builder
	vehicles.WriteString("vehicle,fleet,depot,category,make,model\n")
	axles.WriteString("vehicle,axle,brake,pad_new_mm,pad_limit_mm\n")
	readings.WriteString("vehicle,date,odometer_km,axle,part,side,face,value_mm\n")
	for i := range maxNeeds + 7 { // as many models, for which no part is known
		fmt.Fprintf(&vehicles, "Car %d,Ferry Lines,Hill,M1,Orlo,C%d\n", i, i)
		fmt.Fprintf(&axles, "Car %d,1,disc,12,2\n", i)
		fmt.Fprintf(&readings, "Car %d,2026-02-27,40000,1,pad,right,outer,1.9\n", i)
	}
	w.takeIn(t, "vehicles.csv", vehicles.String())
	w.takeIn(t, "axles.csv", axles.String())
	w.takeIn(t, "readings.csv", readings.String())
	page := parse(t, w.get("/plan/parts").Body.String())
	if got := len(find(page, "tbody tr")); got != maxNeeds {
		t.Errorf("got %d rows, want %d", got, maxNeeds)
	}
	check(t, page, []has{{".notice", "more parts are in the files"}, {"footer.cautions", "*"}})
	if got := strings.Count(w.get("/plan/parts.csv").Body.String(), "Orlo C"); got != maxNeeds+7 {
		t.Errorf("the file has %d of them, want %d", got, maxNeeds+7)
	}
}
