package pipeline

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A parts file keeps what it leaves blank, refuses what it cannot mean, and a
// depot's planner may set the depot's stock with it and no more.
func TestImportParts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			text string
			want string
		}{
			{"new", auth.AllFleets(), "P 1,pads,Orlo,1,,120,Harbour,4\nP 2,rotors,,,Bus 3,,,\n", "2 taken, 0 there, 0 refused"},
			{"changed", auth.AllFleets(), "p 1,,,,,,harbour,3\n", "1 taken, 0 there, 0 refused"},
			{"no item", auth.AllFleets(), "P 3,,,,,,Harbour,3\n", "0 taken, 0 there, 1 refused; item blank, and the part is new: say what it is, such as pads"},
			{"no depot", auth.AllFleets(), "P 1,,,,,,Moon,3\n", "0 taken, 0 there, 1 refused; depot the fleet has no depot of this name: correct it"},
			{"no vehicle", auth.AllFleets(), "P 1,,,,Tram 9,,,\n", "0 taken, 0 there, 1 refused; vehicle no vehicle has this number: correct it, or take in a vehicles file that has it first"},
			{"a depot's planner", auth.ScopeOf(nil, []int64{s.depot.ID}), "P 1,,,,,,Harbour,2\nP 1,,,,,99,Harbour,2\nP 4,pads,,,,,Harbour,1\n",
				"1 taken, 0 there, 2 refused; part_number you may set what lies at your depots, not what the part is: leave the other columns blank; part_number you may set what lies at your depots, not what the part is: leave the other columns blank"},
		} {
			s.handIn(c.name, c.sc, "part_number,item,make,axle,vehicle,price,depot,stock\n"+c.text, c.want)
		}
		ps, err := db.StockParts(t.Context(), auth.AllFleets(), 0)
		s.check(err)
		var got []string
		for _, p := range ps {
			price := "-"
			if p.Price != nil {
				price = fmt.Sprint(*p.Price)
			}
			got = append(got, fmt.Sprintf("%s %s %s %v %v", p.Number, p.Item, price, p.Fits[0], p.Stock))
		}
		if d := cmp.Diff([]string{"P 1 pads 120 {Orlo  0  1} [{1 Harbour 2}]", fmt.Sprintf("P 2 rotors - {  %d Bus 3 0} []", s.buses[2])}, got); d != "" {
			t.Error(d)
		}
	})
}
