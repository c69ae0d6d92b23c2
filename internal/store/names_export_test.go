package store

// SetMaxFound sets how many vehicles are asked for by their ids, until undo.
func SetMaxFound(n int) (undo func()) {
	old := maxFound
	maxFound = n
	return func() { maxFound = old }
}
