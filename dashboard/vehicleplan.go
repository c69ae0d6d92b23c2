package dashboard

import (
	"math"
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// VehicleBookings is what is booked of a vehicle, and when it cannot be.
type VehicleBookings struct {
	Rows []VehicleBooking // newest first
	Away []string         // days it cannot be spared, and visits it makes anyway
	Days string           // link to set them
	New  string           // link to book it by hand
}

// VehicleBooking is one booking of a vehicle.
type VehicleBooking struct {
	Link, When, Where, Work, State, Cost string
}

// pastBookings is how far back a vehicle's page shows bookings, in days.
const pastBookings = 365

// addBookings puts what is booked on a vehicle's page: the pegs on its axles'
// lanes, and a list.
func addBookings(tell units.Reader, p *VehiclePage, fs []store.AxleForecast, x *vehicleRead, today fleet.Date) {
	id, plan := p.Vehicle.ID, x.plan
	axis := yearFrom(today)
	for i := range p.Axles {
		a := &p.Axles[i]
		booked, day := plan.of(tell, id, a.Number)
		a.Booked = booked
		at := slices.IndexFunc(fs, func(f store.AxleForecast) bool { return f.Axle == a.Number })
		if at < 0 {
			continue
		}
		f := &fs[at]
		lane := axleLane(tell, axis, f)
		if long := plan.wait(tell, id, a.Number).long; day == nil && long != "" {
			a.Says = append(a.Says, long)
		}
		if day != nil {
			lane = lane.withPeg(tell, axis, *day, "booked")
			a.Verdict = a.Verdict.booked(tell, *day, f.BookBy, today)
			if *day >= today {
				a.Booked.Words = plan.short(id, a.Number)
			}
		}
		a.Lane = &PlanLane{a.Number, lane}
	}
	v := VehicleBookings{Days: vehicleLink(id) + "/days", New: "/bookings/new?vehicle=" + vehicleLink(id)[len("/vehicles/"):]}
	for i := len(x.bookings) - 1; i >= 0; i-- {
		b := &x.bookings[i]
		v.Rows = append(v.Rows, VehicleBooking{
			Link:  bookingLink(b.ID),
			When:  dayNear(tell, b.Day, today) + ", " + b.Starts.String(),
			Where: b.Depot,
			Work:  workWords(b.Work),
			State: string(b.State),
			Cost:  costWords(b.Currency, b.Cost),
		})
	}
	if up := x.upkeep; up != nil {
		for _, a := range absenceRows(tell, up.Absences, "", today) {
			v.Away = append(v.Away, withReason("cannot be spared "+a.When, a.What))
		}
		for _, a := range visitRows(tell, up.Visits, "", today) {
			v.Away = append(v.Away, a.When+": "+a.What)
		}
	}
	p.Bookings = &v
}

// axleLane draws a forecast as the due-soon list draws its row.
func axleLane(tell units.Reader, a Axis, f *store.AxleForecast) Lane {
	r := store.DueRow{BookBy: f.BookBy, PastLimit: f.PastLimit, ThicknessMM: math.NaN(), NewMM: math.NaN(), LimitMM: math.NaN()}
	r.P10, r.P50, r.P90 = limitDates(f.Crossing, f.AsOf)
	if f.Limiting >= 0 && f.Limiting < len(f.Positions) {
		q := &f.Positions[f.Limiting]
		r.ThicknessMM, r.NewMM, r.LimitMM = q.ThicknessMM, q.Spec.New, q.Spec.Limit
	}
	return laneOf(tell, a, &r)
}

// yearFrom is the calendar of the lanes on a vehicle's page, which show none of its
// months.
func yearFrom(today fleet.Date) Axis { return Axis{Today: today, Days: 365} }

func withReason(s, why string) string {
	if why == "" {
		return s
	}
	return s + ": " + why
}
