package store

import (
	"errors"
	"reflect"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// ErrMeanwhile is of a record that is no longer what a change of it was made from.
var ErrMeanwhile = errors.New("changed meanwhile")

// still holds a part until the transaction ends, and refuses to go on where it is not old.
func (t *tx) still(old *fleet.StockPart) error {
	var id int64
	err := t.one([]any{&id}, `select id from stock_parts where id = ?`+t.locking("for no key update"), old.ID)
	if err != nil && !errors.Is(err, errNoRows) {
		return err
	}
	var w where
	w.add("p.id = ?", old.ID)
	ps, err := t.stockParts(auth.AllFleets(), w, 0)
	now, err := only(ps, err, "part %d: there is none, or none that you may change", old.ID)
	if err != nil {
		return err
	}
	if now.Stock = old.Stock; !reflect.DeepEqual(now, *old) {
		return ErrMeanwhile
	}
	return nil
}
