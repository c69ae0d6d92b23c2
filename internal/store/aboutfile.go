package store

import (
	"context"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// FileQuery asks what there is of a file that comes in.
type FileQuery struct {
	Kind, SHA256 string
	Numbers      []string // of the vehicles that it names
	Most         int      // how far the vehicles there are are counted
	Model        string
	Known        int64 // the id of the model's parameters that the caller has; 0 = none
	ID           bool  // a server is to give one to the upload; not where all that is done is reading
}

// AboutFile is what there is of a file that comes in.
type AboutFile struct {
	First    *fleet.Upload           // of these bytes, of which no row was refused; nil = none
	Vehicles map[string][]VehicleKey // by number
	Counted  int                     // vehicles that sc sees, no further than Most
	Learned  *Parameters             // newer ones than known; nil = none
	ID       int64                   // for the upload; 0 = none was taken
}

// AboutFile is UploadByHash, VehiclesNumbered, MoreVehicles and LatestParameters at once.
func (db *DB) AboutFile(ctx context.Context, sc auth.Scope, q FileQuery) (a AboutFile, err error) {
	err = db.find(ctx, "find what a file is about", func(t *tx) error {
		a = AboutFile{Vehicles: map[string][]VehicleKey{}}
		return t.gather(func() error {
			query, args := uploadByHash(sc, q.Kind, q.SHA256)
			err := t.each(func(r *sqlx.Rows) error {
				a.First = &fleet.Upload{}
				return r.Scan(scanUpload(a.First)...)
			}, query, args...)
			if err != nil {
				return err
			}
			for some := range slices.Chunk(q.Numbers, roundVehicles) {
				if err := t.vehiclesNumbered(a.Vehicles, sc, some); err != nil {
					return err
				}
			}
			query, args = vehicleCount(sc, q.Most)
			dest := []any{&a.Counted}
			if q.ID && t.db.dialect == Postgres {
				query, dest = `select (`+query+`), nextval('uploads_id_seq')`, append(dest, &a.ID)
			}
			if err := t.each(func(r *sqlx.Rows) error { return r.Scan(dest...) }, query, args...); err != nil {
				return err
			}
			return t.each(func(r *sqlx.Rows) error {
				a.Learned = &Parameters{}
				return r.Scan(a.Learned.scan()...)
			}, parametersQuery, q.Model, q.Known, 1)
		})
	})
	return a, err
}
