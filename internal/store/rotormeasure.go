package store

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// rotorMeasures calls fn for what was noted of rotors on the job cards c that w
// admits and that were not dropped, by vehicle and day: of each step the entry
// that stands.
func (t *tx) rotorMeasures(w where, fn func(m *fleet.RotorMeasure)) error {
	w.add("c.state <> ?", string(fleet.CardDropped))
	w.add("s.axle > 0")
	w.add("(s.step like ? or s.step like ?)", "%"+fleet.RunoutMeasure+"%", "%"+fleet.VariationMeasure+"%")
	w.add(`not exists (
			select 1 from job_card_entries n
			where n.card_id = e.card_id and n.seq = e.seq and n.id > e.id)`)
	return t.each(func(r *sqlx.Rows) error {
		var vehicle int64
		var axle int
		var day fleet.Date
		var text, noted []byte
		var by string
		if err := r.Scan(&vehicle, &axle, &day, &text, &noted, &by); err != nil {
			return err
		}
		var step fleet.Step
		if err := json.Unmarshal(text, &step); err != nil {
			return fmt.Errorf("step of a job card of vehicle %d: %w", vehicle, err)
		}
		values, err := readNoted(noted)
		if err != nil {
			return fmt.Errorf("measures of a job card of vehicle %d: %w", vehicle, err)
		}
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			m := fleet.RotorMeasure{VehicleID: vehicle, Axle: axle, Side: side, Date: day, By: by}
			for i := range min(len(values), len(step.Measures)) {
				if x := values[i]; !math.IsNaN(x) && step.Measures[i].Unit == "mm" {
					switch strings.ToLower(strings.TrimSpace(step.Measures[i].Name)) {
					case fleet.RunoutMeasure + " " + string(side):
						m.RunoutMM = &x
					case fleet.VariationMeasure + " " + string(side):
						m.VariationMM = &x
					}
				}
			}
			if m.RunoutMM != nil || m.VariationMM != nil {
				fn(&m)
			}
		}
		return nil
	}, `
		select c.vehicle_id, s.axle, c.day, s.step, e.noted, e.entered_by
		from job_cards c
		join job_card_steps s on s.card_id = c.id
		join job_card_entries e on e.card_id = s.card_id and e.seq = s.seq`+w.String()+`
		order by c.vehicle_id, c.day, c.id, s.seq`, w.args...)
}
