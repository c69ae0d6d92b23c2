package store

import (
	"context"
	"errors"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// addRequestKey keeps the sender's key of an upload. Two requests with one key
// at the same time: the second finds it taken, and is told to try again.
func (t *tx) addRequestKey(up *fleet.Upload) error {
	if up.Key == "" {
		return nil
	}
	got, err := t.exec(`
		insert into request_keys (sent_by, key, upload_id)
		values (?, ?, ?)
		on conflict do nothing`, storableOf(up.By), storableOf(up.Key), up.ID)
	if err != nil {
		return err
	}
	n, err := got.RowsAffected()
	if err == nil && n == 0 {
		err = fleet.Conflictf("key %q: a request with it came in at the same time; send this one again", up.Key)
	}
	return err
}

// UploadByKey returns the upload, with its problems, that the sender named by
// this key; fleet.ErrNotFound when there is none.
func (db *DB) UploadByKey(ctx context.Context, sc auth.Scope, by, key string) (fleet.Upload, error) {
	var id int64
	err := db.find(ctx, "find a request's upload", func(t *tx) error {
		err := t.one([]any{&id}, `select upload_id from request_keys where sent_by = ? and key = ?`, storableOf(by), storableOf(key))
		if errors.Is(err, errNoRows) {
			return fleet.NotFoundf("no upload has the key %q", key)
		}
		return err
	})
	if err != nil {
		return fleet.Upload{}, err
	}
	up, err := db.Upload(ctx, sc, id)
	up.Key = key
	return up, err
}
