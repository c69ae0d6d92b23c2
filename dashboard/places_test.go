package dashboard

import (
	"fmt"
	"slices"
	"testing"
)

// Two fleets have a bus of the same number at depots of the same name: who sees both
// can tell them apart wherever one is chosen or both are shown.
func TestPlacesToldApart(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/plan").Body.String()), []has{{"option[value=2]", "Hill"}})
	w.takeIn(t, "vehicles.csv", "vehicle,fleet,depot\nBus 1,Mail Lines,Hill\n")
	for _, path := range []string{"/", "/plan", "/cards", "/vehicles", "/findings", "/record", "/calendars", "/plan/parts"} {
		check(t, parse(t, w.get(path).Body.String()), []has{
			{"select[name=depot] option[value=1]", "Harbour"},
			{"select[name=depot] option[value=2]", "Hill (Ferry Lines)"},
			{"select[name=depot] option[value=3]", "Hill (Mail Lines)"},
		})
	}
	check(t, parse(t, w.get("/plan").Body.String()), []has{{".shift[data-depot=3] .where", "Hill (Mail Lines)"}})
	check(t, parse(t, w.get("/measure?q=Bus+1").Body.String()), []has{{"main", "Hill · Mail Lines"}, {"main", "Harbour · Ferry Lines"}})
	check(t, parse(t, w.get("/vehicles?q=Bus+1").Body.String()), []has{{"main", "Hill · Mail Lines"}})
}

// A row of what is to be booked has its fleet where another fleet's reads alike.
func TestRowsToldApart(t *testing.T) {
	rows := []DueRow{
		{Vehicle: "Bus 1", Depot: "Hill", Fleet: "A"}, {Vehicle: "Bus 1", Depot: "Hill", Fleet: "A"}, {Vehicle: "Bus 2", Depot: "Hill", Fleet: "B"},
		{Vehicle: "Bus 3", Depot: "Quay", Fleet: "A"}, {Vehicle: "Bus 3", Depot: "Bay", Fleet: "B"}, {Vehicle: "Bus 4", Depot: "Quay", Fleet: "A"},
	}
	tellRowsApart(rows)
	var got []string
	for _, r := range rows {
		got = append(got, r.Depot+"/"+r.Of)
	}
	want := []string{"Hill (A)/", "Hill (A)/", "Hill (B)/", "Quay (A)/A", "Bay (B)/B", "Quay/"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestDepotNames(t *testing.T) {
	type depot struct {
		id          int64
		name, fleet string
	}
	for _, c := range []struct {
		depots []depot
		want   string
	}{
		{[]depot{{1, "Hill", "A"}, {1, "Hill", "A"}, {2, "Quay", "A"}}, "[Hill Hill Quay]"},
		{[]depot{{1, "Hill", "A"}, {3, "Hill", "B"}, {2, "Quay", "A"}, {1, "Hill", "A"}}, "[Hill (A) Hill (B) Quay Hill (A)]"},
		{[]depot{{0, "city", ""}, {0, "city", ""}}, "[city city]"}, // duties
	} {
		got := fmt.Sprint(depotNames(len(c.depots), func(i int) (int64, string, string) { x := c.depots[i]; return x.id, x.name, x.fleet }))
		if got != c.want {
			t.Errorf("got %s, want %s", got, c.want)
		}
	}
}
