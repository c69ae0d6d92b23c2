package store

// SetMaxFound sets how many vehicles are asked for by their ids, until undo.
func SetMaxFound(n int) (undo func()) {
	old := maxFound
	maxFound = n
	return func() { maxFound = old }
}

// SetMaxLater sets how many vehicles may have been written since all names were
// read, until undo.
func SetMaxLater(n int) (undo func()) {
	old := maxLater
	maxLater = n
	return func() { maxLater = old }
}

// HoldNames is at reading all names, until done.
func (db *DB) HoldNames() (done func()) {
	db.names.whole.Lock()
	return db.names.whole.Unlock
}
