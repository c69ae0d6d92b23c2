package fleet

import "testing"

// Names are invented.
func TestPartFor(t *testing.T) {
	v := &Vehicle{ID: 7, FleetID: 1, Make: "Orlo", Model: "C12"}
	part := func(number string, fits ...Fit) StockPart {
		return StockPart{FleetID: 1, Number: number, Item: ItemPads, Fits: fits}
	}
	other := part("other fleet", Fit{Make: "Orlo"})
	other.FleetID = 2
	rotors := part("rotors", Fit{Make: "Orlo"})
	rotors.Item = ItemRotors
	all := []StockPart{
		part("c", Fit{Make: "orlo", Model: "c12"}),
		part("b", Fit{Make: "Orlo", Model: "C12"}),
		part("make", Fit{Make: "Orlo"}),
		part("rear", Fit{Make: "Orlo", Model: "C12", Axle: 2}),
		part("own", Fit{VehicleID: 7, Axle: 3}),
		part("theirs", Fit{VehicleID: 8}),
		part("none"),
		part("a other model", Fit{Make: "Orlo", Model: "C14"}),
		part("a other make", Fit{Make: "Velquary", Model: "C12"}),
		other, rotors,
	}
	for _, c := range []struct {
		axle int
		item Item
		want string
	}{
		{1, ItemPads, "b"}, // the lower number of two alike
		{2, ItemPads, "rear"},
		{3, ItemPads, "own"},
		{1, ItemRotors, "rotors"},
		{1, ItemDrums, ""},
		{0, ItemPads, "own"}, // any axle
	} {
		got := ""
		if p := PartFor(all, v, c.axle, c.item); p != nil {
			got = p.Number
		}
		if got != c.want {
			t.Errorf("axle %d %s: got %q, want %q", c.axle, c.item, got, c.want)
		}
	}
}
