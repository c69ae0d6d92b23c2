package dashboard

import (
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// WaitRow is what it costs to book nothing more until a day, in one currency.
type WaitRow struct {
	Until, Axles  string
	Damage, Discs string
}

// waitRows are the costs of waiting; none where there is no figure to tell them by.
func waitRows(tell units.Reader, o *pipeline.Overview) (rows []WaitRow) {
	for i := range o.Waits {
		w := &o.Waits[i]
		for _, m := range w.Costs {
			row := WaitRow{Until: dayNear(tell, w.To, o.AsOf), Axles: about(w.Axles), Damage: money(m.Currency, m.Damage), Discs: money(m.Currency, m.Discs)}
			if m.Discs == 0 {
				row.Discs = "not known"
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// waitGaps say what is missing from the costs of waiting, and where it is entered.
func waitGaps(o *pipeline.Overview) (ls []OverviewLink) {
	last := &o.Waits[len(o.Waits)-1]
	if n := last.NoFigure; n >= worthSaying {
		ls = append(ls, OverviewLink{"Expected past the limit at depots whose workshop nobody has set: " + about(n) + " axles. What damage costs there is not known, and not counted.", "/workshops", "Set up workshops"})
	}
	if n := last.NoDisc; n >= worthSaying {
		ls = append(ls, OverviewLink{"For the rotors or drums of " + about(n) + " axles no part with a price is known: they are not in the last column.", "/parts", "Enter parts and prices"})
	}
	return ls
}
