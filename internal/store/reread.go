package store

import (
	"cmp"
	"context"
	"reflect"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Reread reads some records of a few vehicles anew, but no readings: see AddReadings.
func (db *DB) Reread(ctx context.Context, hs []*History, what Records) error {
	if len(hs) == 0 {
		return nil
	}
	return db.find(ctx, "read records", func(t *tx) error {
		of := make(map[int64]*History, len(hs))
		for _, h := range hs {
			of[h.Vehicle.ID] = h
			if what&AxleRecords != 0 {
				h.Axles = nil
			}
			if what&OdometerRecords != 0 {
				h.Odometers = nil
			}
			if what&SwapRecords != 0 {
				h.Swaps = nil
			}
			if what&FitmentRecords != 0 {
				h.Fitments = nil
			}
		}
		return t.fillHistories(of, idsOf(hs), what)
	})
}

// AddReadings adds to the histories of a few vehicles the readings of an upload that
// changed none of the others: of years of them those are the rows of a day. It returns
// what stands of the vehicles, see Standing, for which a server need not be asked again.
func (db *DB) AddReadings(ctx context.Context, sc auth.Scope, hs []*History, upload int64, on fleet.Date, ahead int) (*Standing, error) {
	st := newStanding(on)
	if len(hs) == 0 {
		return st, nil
	}
	err := db.find(ctx, "read readings", func(t *tx) error {
		of := make(map[int64]*History, len(hs))
		var ids []int64
		for _, h := range hs {
			of[h.Vehicle.ID] = h
			ids = append(ids, h.Vehicle.ID)
		}
		var w where
		w.among("r.vehicle_id", ids)
		w.add("r.upload_id = ?", upload)
		err := t.gather(func() error {
			err := t.readings(w, bare, func(r *fleet.Reading) {
				h := of[r.VehicleID]
				h.Readings = append(h.Readings, *r)
			})
			if err != nil {
				return err
			}
			return t.standing(st, sc, ids, ahead)
		})
		if err != nil {
			return err
		}
		for _, h := range hs {
			h.sortReadings()
		}
		return st.check(ids)
	})
	return st, err
}

func (h *History) sortReadings() {
	if !slices.IsSortedFunc(h.Readings, readingOrder) {
		slices.SortFunc(h.Readings, readingOrder)
	}
}

// With is h with readings that are yet to be stored.
func (h *History) With(rs []fleet.Reading) *History {
	with := *h
	with.Readings = slices.Concat(h.Readings, rs)
	for i := range with.Readings { // as EachHistory reads them
		r := &with.Readings[i]
		r.Given, r.Unit, r.Note, r.Line = "", "", "", 0
	}
	with.sortReadings()
	return &with
}

// Foresaw says whether h is what is stored by now, but for what readings of an upload
// got with it: their ids.
func (h *History) Foresaw(stored *History, upload int64) bool {
	same := slices.EqualFunc(h.Readings, stored.Readings, func(a, b fleet.Reading) bool {
		if b.UploadID == upload {
			a.ID, a.UploadID = b.ID, b.UploadID
		}
		return a == b || reflect.DeepEqual(a, b)
	})
	a, b := *h, *stored
	a.Readings, b.Readings = nil, nil
	a.Memory, b.Memory = nil, nil
	return same && reflect.DeepEqual(&a, &b)
}

// readingOrder is the order in which readings of a vehicle are read that count.
func readingOrder(a, b fleet.Reading) int {
	return cmp.Or(
		cmp.Compare(a.Date, b.Date),
		cmp.Compare(a.Position.Axle, b.Position.Axle),
		cmp.Compare(a.Position.Part, b.Position.Part),
		cmp.Compare(a.Position.Side, b.Position.Side),
		cmp.Compare(a.Position.Face, b.Position.Face),
		cmp.Compare(a.MM, b.MM),
		cmp.Compare(bit(a.Tripped), bit(b.Tripped)),
	)
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}
