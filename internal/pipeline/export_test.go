package pipeline

import "time"

// SetShares sets how many vehicles a share of a refit has, and how long it
// stays with a process that died.
func (s *Service) SetShares(vehicles int, lease time.Duration) {
	s.shareVehicles, s.shareLease = vehicles, lease
}
