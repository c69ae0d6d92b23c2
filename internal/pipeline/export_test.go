package pipeline

import "time"

// SetShares sets how many vehicles a share of a refit has, and how long it
// stays with a process that died.
func (s *Service) SetShares(vehicles int, lease time.Duration) {
	s.shareVehicles, s.shareLease = vehicles, lease
}

// SetShelf sets how many rows of vehicles a refit keeps between its rounds.
func (s *Service) SetShelf(rows int) { s.shelf = rows }

// SetWarmEvery sets how often the due-soon list is read ahead.
func (s *Service) SetWarmEvery(every time.Duration) { s.warmEvery = every }

// Letters is how many mails are under way.
func (d *Desk) Letters() int { return len(d.letters) }

// SetLetters sets how many mails a desk has under way, how long it pauses
// before each further try, and what a mail gets when the desk closes.
func (d *Desk) SetLetters(most int, pauses []time.Duration, grace time.Duration) {
	d.letters, d.pauses, d.grace = make(chan struct{}, most), pauses, grace
}
