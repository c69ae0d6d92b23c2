package store

import (
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// where gathers conditions that must all hold, with their arguments.
type where struct {
	conds []string
	args  []any
}

func (w *where) add(cond string, args ...any) {
	w.conds = append(w.conds, cond)
	w.args = append(w.args, args...)
}

// String returns the clause, with one space before it.
func (w *where) String() string {
	if len(w.conds) == 0 {
		return ""
	}
	return " where " + strings.Join(w.conds, " and ")
}

// only returns the one row that was asked for, or says by missing that there is none.
func only[T any](rows []T, err error, missing string, args ...any) (row T, _ error) {
	switch {
	case err != nil:
		return row, err
	case len(rows) == 0:
		return row, fleet.NotFoundf(missing, args...)
	}
	return rows[0], nil
}

// scope adds that the row of table, which has fleet_id and depot_id, is one
// that sc sees.
func (w *where) scope(sc auth.Scope, table string) {
	w.places(sc, table+".fleet_id", table+".depot_id")
}

// places is scope for columns of other names.
func (w *where) places(sc auth.Scope, fleetColumn, depotColumn string) {
	if sc.All() {
		return
	}
	var either []string
	if ids := sc.Fleets(); len(ids) > 0 {
		either = append(either, fleetColumn+" in "+places(len(ids)))
		w.args = append(w.args, anys(ids)...)
	}
	if ids := sc.Depots(); len(ids) > 0 {
		either = append(either, depotColumn+" in "+places(len(ids)))
		w.args = append(w.args, anys(ids)...)
	}
	if either == nil {
		either = []string{"false"} // the zero scope sees nothing
	}
	w.conds = append(w.conds, "("+strings.Join(either, " or ")+")")
}

// vehicles adds that column is the id of a vehicle that sc sees.
func (w *where) vehicles(sc auth.Scope, column string) {
	if sc.All() {
		return
	}
	var seen where
	seen.scope(sc, "v")
	w.add(column+" in (select v.id from vehicles v"+seen.String()+")", seen.args...)
}

// text adds that the vehicles' column, made by searchText, has text in it, in
// whatever case. Blank text admits all.
func (w *where) text(column, text string) {
	switch {
	case key(text) == "":
	case !storable(text):
		w.add("false")
	default:
		var args []any
		for _, part := range searched(text) {
			args = append(args, like(part))
		}
		cond := column + ` like ? escape '\'`
		w.add("("+cond+strings.Repeat(" or "+cond, len(args)-1)+")", args...)
	}
}

// only adds that column is id, unless id is 0.
func (w *where) only(column string, id int64) {
	if id != 0 {
		w.add(column+" = ?", id)
	}
}

// among adds that column is one of ids.
func (w *where) among(column string, ids []int64) {
	if len(ids) == 0 {
		w.add("false")
		return
	}
	w.add(column+" in "+places(len(ids)), anys(ids)...)
}

func anys[T any](xs []T) []any {
	out := make([]any, len(xs))
	for i, x := range xs {
		out[i] = x
	}
	return out
}
