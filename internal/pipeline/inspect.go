package pipeline

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// FormKind is the kind of the uploads that inspections sent as forms make.
const FormKind = "form"

// Inspection is what one person found on one vehicle on a day.
type Inspection struct {
	VehicleID  int64
	Date       fleet.Date
	Technician string
	OdometerKm *float64 // nil when it was not read
	InMiles    bool     // OdometerKm was typed in miles
	// Readings and Conditions need their position, value and note only: the
	// rest is the inspection's.
	Readings   []fleet.Reading
	Conditions []fleet.Condition
	// Brakes are those of the axles, from the front, where they are not on
	// record.
	Brakes []fleet.Brake
	// Confirmed are the fields (see FieldOf) whose values were measured twice.
	Confirmed map[string]bool `json:"-"`
	// Key is the sender's own name for the form, as in File.
	Key string `json:"-"`
}

// DoubtError says that values of an inspection want a second look. Nothing was
// stored.
type DoubtError struct {
	Remarks []Remark // all of the sheet, with those that are in no doubt
}

func (e *DoubtError) Error() string {
	var texts []string
	for _, r := range e.Remarks {
		if r.Doubt {
			texts = append(texts, r.Field+": "+r.Text)
		}
	}
	return "measure again, then correct or confirm: " + strings.Join(texts, "; ")
}

// Unwrap gives the kind.
func (e *DoubtError) Unwrap() error { return fleet.ErrInvalid }

// measuredTwice is the note on a reading that was doubted and confirmed.
const measuredTwice = "measured twice"

// Inspect takes an inspection in, in one transaction, and forecasts the vehicle
// anew. Values that the sheet's remarks doubt must be confirmed: otherwise the
// error is a DoubtError. The same inspection sent again, or another one with
// the same key, changes nothing: the first upload comes back with everything
// counted as repeated, or the key is refused with fleet.ErrConflict.
func (s *Service) Inspect(ctx context.Context, sc auth.Scope, by string, in Inspection) (fleet.Upload, error) {
	if err := in.fill(s.Today()); err != nil {
		return fleet.Upload{}, err
	}
	content, err := json.Marshal(in)
	if err != nil {
		return fleet.Upload{}, fmt.Errorf("inspection: %w", err)
	}
	sum := sha256.Sum256(content)
	up := fleet.Upload{Kind: FormKind, By: by, Key: in.Key, SHA256: hex.EncodeToString(sum[:])}
	first, err := s.sentBefore(ctx, sc, &up)
	switch {
	case err == nil:
		// What came between the first time and its forecast may have failed.
		return first, s.follow(ctx, sc, in.VehicleID, s.Today())
	case !errors.Is(err, fleet.ErrNotFound):
		return up, err
	}
	sh, h, err := s.sheet(ctx, sc, in.VehicleID, in.Date, in.Brakes)
	if err != nil {
		return up, err
	}
	known := resolverOf(h)
	remarks, err := in.settle(sh)
	if err != nil {
		return up, err
	}
	up.Problems = in.notes(remarks)
	up.Name = strings.TrimSpace(h.Vehicle.Number + ", " + in.Date.String())
	err = s.DB.TakeIn(ctx, sc, &up, func(w *store.Writer) error {
		return in.write(w, sh, known, &up)
	})
	if err != nil {
		return up, err
	}
	return up, s.follow(ctx, sc, in.VehicleID, s.Today())
}

// sentBefore returns the upload of the same key or content, its rows counted
// as repeated; fleet.ErrNotFound when there is none, fleet.ErrConflict when the
// key was used for another content.
func (s *Service) sentBefore(ctx context.Context, sc auth.Scope, up *fleet.Upload) (fleet.Upload, error) {
	first, err := fleet.Upload{}, error(fleet.ErrNotFound)
	if up.Key != "" {
		first, err = s.DB.UploadByKey(ctx, sc, up.By, up.Key)
		if err == nil && first.SHA256 != up.SHA256 {
			return first, fleet.Conflictf("key %q was used for another content: give each form a key of its own", up.Key)
		}
	}
	if errors.Is(err, fleet.ErrNotFound) {
		first, err = s.DB.UploadByHash(ctx, sc, up.Kind, up.SHA256)
	}
	first.Repeated += first.Accepted
	first.Accepted = 0
	return first, err
}

// fill gives the inspection's vehicle, day and person to all that it holds,
// and reports the first fault.
func (in *Inspection) fill(today fleet.Date) error {
	in.Technician = strings.TrimSpace(in.Technician)
	switch {
	case in.Date > today:
		return fleet.Invalidf("date %s: it lies after today, %s", in.Date.Written(), today.Written())
	case in.OdometerKm == nil && len(in.Readings) == 0 && len(in.Conditions) == 0:
		return fleet.Invalidf("nothing is filled in: give a value, the odometer or what was seen")
	}
	if in.OdometerKm != nil {
		o := fleet.Odometer{Date: in.Date, Km: *in.OdometerKm}
		if err := o.Validate(); err != nil {
			return err
		}
	}
	seen := map[fleet.Position]bool{}
	for i := range in.Readings {
		r := &in.Readings[i]
		r.VehicleID, r.Date, r.OdometerKm, r.Technician = in.VehicleID, in.Date, in.OdometerKm, in.Technician
		if err := r.Validate(); err != nil {
			return err
		}
		if seen[r.Position] && !r.Tripped {
			return fleet.Invalidf("%s: there are two values, keep the right one", r.Position)
		}
		seen[r.Position] = seen[r.Position] || !r.Tripped
	}
	for i := range in.Conditions {
		c := &in.Conditions[i]
		c.Note = strings.TrimSpace(c.Note)
		c.VehicleID, c.Date, c.OdometerKm, c.Technician = in.VehicleID, in.Date, in.OdometerKm, in.Technician
		if err := c.Validate(); err != nil {
			return err
		}
	}
	return nil
}

// settle returns the remarks on the inspection. It wants every doubt confirmed,
// and notes on the readings that were.
func (in *Inspection) settle(sh *Sheet) ([]Remark, error) {
	e := Entries{OdometerKm: in.OdometerKm, InMiles: in.InMiles, MM: map[fleet.Position]float64{}}
	for i := range in.Readings {
		if r := &in.Readings[i]; !r.Tripped {
			e.MM[r.Position] = r.MM
		}
	}
	remarks := sh.Remarks(e)
	doubted := map[string]bool{}
	for _, r := range remarks {
		if r.Doubt && !in.Confirmed[r.Field] {
			return nil, &DoubtError{remarks}
		}
		doubted[r.Field] = doubted[r.Field] || r.Doubt
	}
	for i := range in.Readings {
		if r := &in.Readings[i]; !r.Tripped && doubted[FieldOf(r.Position)] {
			r.Note = strings.TrimPrefix(r.Note+"; "+measuredTwice, "; ")
		}
	}
	return remarks, nil
}

// notes keeps the remarks with the upload, for who looks at it later.
func (in *Inspection) notes(remarks []Remark) (ps []fleet.Problem) {
	for _, r := range remarks {
		p := fleet.Problem{Column: r.Field, Message: r.Text}
		if r.Field == OdometerField {
			p.Read = kmText(*in.OdometerKm) + " km"
		}
		for i := range in.Readings {
			if x := &in.Readings[i]; FieldOf(x.Position) == r.Field && !x.Tripped {
				p.Column, p.Read = x.Position.String(), strings.TrimSpace(x.Given+" "+x.Unit)
			}
		}
		if r.Doubt {
			p.Message += " Confirmed: " + measuredTwice + "."
		}
		ps = append(ps, p)
	}
	return ps
}

// write stores the inspection, and counts and notes what became of it.
func (in *Inspection) write(w *store.Writer, sh *Sheet, known *resolver, up *fleet.Upload) error {
	var b batch
	key := store.VehicleKey{ID: sh.Vehicle.ID, FleetID: sh.Vehicle.FleetID, Category: sh.Vehicle.Category}
	for _, r := range append(slices.Clone(in.Readings), in.trips(sh, up)...) {
		if fault := known.axle(&b, key, r.Position, 0); fault != nil {
			return fleet.Invalidf("%s: %s", r.Position, fault.Message)
		}
		b.readings = append(b.readings, r)
	}
	if in.OdometerKm != nil {
		b.odometers = append(b.odometers, fleet.Odometer{VehicleID: in.VehicleID, Date: in.Date, Km: *in.OdometerKm})
	}
	if err := b.write(w, up); err != nil {
		return err
	}
	c, err := w.Conditions(in.Conditions)
	if err != nil {
		return err
	}
	up.Accepted += c.Added
	up.Repeated += c.Repeated
	if in.OdometerKm == nil && len(in.Readings) > 0 {
		up.Problems = append(up.Problems, fleet.Problem{
			Column:  OdometerField,
			Message: "no odometer given: it is read off the vehicle's odometer readings",
		})
	}
	up.Problems = append(up.Problems, known.stoodIn...)
	return nil
}

// trips returns a reading for each wear sensor that was seen to have tripped,
// where the thickness is known at which it does.
func (in *Inspection) trips(sh *Sheet, up *fleet.Upload) (rs []fleet.Reading) {
	for i := range in.Conditions {
		c := &in.Conditions[i]
		if c.Kind != fleet.SensorTripped {
			continue
		}
		wheel := sh.Wheel(c.Axle, cmp.Or(c.Side, fleet.Left))
		if wheel == nil || wheel.Trip == nil {
			up.Problems = append(up.Problems, fleet.Problem{
				Column:  string(fleet.SensorTripped),
				Message: fmt.Sprintf("axle %d: it is not known at which thickness its sensor trips: kept as a condition, the forecast does not follow", c.Axle),
			})
			continue
		}
		r := *wheel.Trip
		if r.Position.Side = c.Side; c.Side == "" {
			r.Position.Face = ""
		}
		rs = append(rs, fleet.Reading{
			VehicleID:  in.VehicleID,
			Position:   r.Position,
			Date:       in.Date,
			OdometerKm: in.OdometerKm,
			MM:         r.MM,
			Given:      r.Given,
			Unit:       r.Unit,
			Gauge:      "wear sensor",
			Technician: in.Technician,
			Tripped:    true,
		})
	}
	return rs
}

// resolverOf knows the axles of one vehicle.
func resolverOf(h *store.History) *resolver {
	k := &resolver{axles: map[store.AxleKey]fleet.Axle{}, added: map[store.AxleKey]bool{}}
	for _, a := range h.Axles {
		k.axles[store.AxleKey{VehicleID: h.Vehicle.ID, Axle: a.Number}] = a
	}
	return k
}
