package store

// ForgetDue has the due-soon list read anew by who asks next, whole, and nothing of
// it kept.
func (db *DB) ForgetDue() {
	*db.due = *newDueList()
	*db.pages = cache[DuePage]{}
}

// SetMaxDueNews sets how many axles may have been written since the due-soon list was
// read, until undo.
func SetMaxDueNews(n int) (undo func()) {
	old := maxDueNews
	maxDueNews = n
	return func() { maxDueNews = old }
}
