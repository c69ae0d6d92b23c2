package store

import "context"

// Covers is covers.
var Covers = covers

// OneStateOf is OneState of an SQLite file, for who asked for its version a while ago.
func (db *DB) OneStateOf(ctx context.Context, version string, fn func(state *DB) error) error {
	return db.read(ctx, "test", func(t *tx) error {
		state := *db
		state.within, state.reading, state.version = t, true, version
		t.db = &state
		return fn(&state)
	})
}

// ForgetDue has the due-soon list read anew by who asks next, whole, and nothing of
// it kept.
func (db *DB) ForgetDue() {
	*db.due = *newDueList()
	*db.plans = cache[*duePlan]{}
}

// SetMaxDueNews sets how many axles may have been written since the due-soon list was
// read, until undo.
func SetMaxDueNews(n int) (undo func()) {
	old := maxDueNews
	maxDueNews = n
	return func() { maxDueNews = old }
}

// DueReadWhole has it that all of the due-soon list is being read, until done.
func (db *DB) DueReadWhole() (done func()) { return db.due.reading() }
