package store

import "brakewear/internal/auth"

// Figures sum a proposal up. Lengths are mm, amounts in the unit of the plan.
type Figures struct {
	Due        int      `json:"due"` // axles looked at
	Placed     int      `json:"placed"`
	Later      int      `json:"later"` // may wait beyond the last day
	Unplaced   int      `json:"unplaced"`
	Late       int      `json:"late"` // placed beyond the accepted risk
	WastedMM   float64  `json:"wasted_mm"`
	PastLimit  float64  `json:"past_limit"` // axles expected past their limit
	Overtime   float64  `json:"overtime_hours"`
	Unmeasured int      `json:"unmeasured"`           // axles to measure first: no reading of the parts that are on
	Cut        bool     `json:"cut,omitempty"`        // the search was ended by its time
	Depots     []int64  `json:"depots,omitempty"`     // that it plans; nil in one made before they were kept
	Dropped    []string `json:"dropped,omitempty"`    // what the proposal before wanted and this one does not, and why
	DroppedAt  []int64  `json:"dropped_at,omitempty"` // depots of these, one each; nil in one made before they were kept
}

// within leaves out what was dropped at depots that sc does not see.
func (f *Figures) within(sc auth.Scope, fleetID int64) {
	if sc.Sees(fleetID, 0) {
		return
	}
	dropped, at := f.Dropped, f.DroppedAt
	f.Dropped, f.DroppedAt = nil, nil
	for i, depot := range at {
		if i < len(dropped) && sc.Sees(fleetID, depot) {
			f.Dropped, f.DroppedAt = append(f.Dropped, dropped[i]), append(f.DroppedAt, depot)
		}
	}
}
