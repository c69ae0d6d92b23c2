package store

import (
	"context"

	"brakewear/internal/fleet"
)

// TakeIn stores one upload in one transaction: fill gets a Writer for the
// rows, and either all that it wrote is kept, with up and up's problems, or
// nothing. TakeIn sets up.ID and up.At before fill runs, and stores the
// counts and problems that fill leaves in up.
func (db *DB) TakeIn(ctx context.Context, sc fleet.Scope, up *fleet.Upload, fill func(w *Writer) error) error {
	return errUnfinished
}

// UploadByHash returns the first upload of these bytes of which no row was
// refused; fleet.ErrNotFound when there is none. An upload with refused rows
// does not count, for what they lacked may be there by now.
func (db *DB) UploadByHash(ctx context.Context, sc fleet.Scope, kind, sha256 string) (fleet.Upload, error) {
	return fleet.Upload{}, errUnfinished
}

// Uploads returns up to limit uploads, newest first, without their problems:
// those older than the upload before, or the newest when before is 0.
func (db *DB) Uploads(ctx context.Context, sc fleet.Scope, limit int, before int64) ([]fleet.Upload, error) {
	return nil, errUnfinished
}

// Upload returns one upload with its problems.
func (db *DB) Upload(ctx context.Context, sc fleet.Scope, id int64) (fleet.Upload, error) {
	return fleet.Upload{}, errUnfinished
}
