package api

import (
	"cmp"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// vehicles answers with a page of the vehicles, in the order of their numbers.
func (a *API) vehicles(c *gin.Context) error {
	q := &query{c: c}
	ask := store.VehicleQuery{
		Fleet: q.id("fleet"),
		Depot: q.id("depot"),
		Text:  q.text("q"),
		After: q.text("cursor"),
		Limit: q.limit(),
	}
	if err := q.err(); err != nil {
		return err
	}
	got, err := a.svc.DB.Vehicles(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	rows := items(got.Rows, func(r *store.VehicleRow) VehicleItem {
		return VehicleItem{
			Vehicle:     vehicleOf(&r.Vehicle, r.Fleet, r.Depot),
			Axles:       r.Axles,
			LastReading: r.LastReading,
			BookBy:      r.BookBy,
			PastLimit:   r.PastLimit,
		}
	})
	return sendPage(c, rows, got.Next, &got.Total)
}

func vehicleOf(v *fleet.Vehicle, fleetName, depotName string) Vehicle {
	out := Vehicle{
		ID:       v.ID,
		Vehicle:  v.Number,
		FleetID:  v.FleetID,
		Fleet:    fleetName,
		DepotID:  v.DepotID,
		Depot:    depotName,
		Plate:    v.Plate,
		Category: string(v.Category),
		Make:     v.Make,
		Model:    v.Model,
		Duty:     v.Duty,

		Actuation: string(v.Actuation),
		GrossKg:   some(v.GrossKg, 3),
	}
	if v.FirstUsed != 0 {
		out.FirstUsed = &v.FirstUsed
	}
	if v.Year != 0 {
		out.Year = &v.Year
	}
	return out
}

// known returns all that is known of the vehicle in the path.
func (a *API) known(c *gin.Context) (store.History, error) { return a.knownBy(c, &query{c: c}) }

// knownBy is known for a request with parameters.
func (a *API) knownBy(c *gin.Context, q *query) (store.History, error) {
	if err := q.err(); err != nil {
		return store.History{}, err
	}
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return store.History{}, err
	}
	return a.svc.DB.History(c.Request.Context(), a.scope(c), id)
}

func (a *API) vehicle(c *gin.Context) error {
	h, err := a.known(c)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, VehicleDetail{
		Vehicle: vehicleOf(&h.Vehicle, h.Fleet, h.Depot),
		Axles: items(h.Axles, func(x *fleet.Axle) Axle {
			out := Axle{Axle: x.Number, Brake: string(x.Brake), Specs: []Spec{}}
			for _, p := range fleet.Parts {
				if s, ok := x.Specs[p]; ok {
					l, _ := pipeline.LimitOf(&h, x, p)
					out.Specs = append(out.Specs, Spec{string(p), s.New, s.Limit, s.Source, round(l.MM, 4), l.Source()})
				}
			}
			return out
		}),
	})
}

// history answers with what was measured and done on a vehicle, by date, of some days
// where these are given; with what no longer counts where that is asked for.
func (a *API) history(c *gin.Context) error {
	q := &query{c: c}
	all := q.truth("set_aside")
	from, to := q.date("from"), q.date("to")
	h, err := a.knownBy(c, q)
	if err != nil {
		return err
	}
	if all != nil && *all {
		cs, err := a.svc.DB.Corrections(c.Request.Context(), a.scope(c), h.Vehicle.ID)
		if err != nil {
			return err
		}
		h.Odometers = byDate(h.Odometers, cs.Odometers, func(o *fleet.Odometer) fleet.Date { return o.Date })
		h.Readings = byDate(h.Readings, cs.Readings, func(r *fleet.Reading) fleet.Date { return r.Date })
		h.Fitments = byDate(h.Fitments, cs.Fitments, func(f *fleet.Fitment) fleet.Date { return f.Date })
		h.Conditions = byDate(h.Conditions, cs.Conditions, func(c *fleet.Condition) fleet.Date { return c.Date })
	}
	h.Odometers = within(from, to, h.Odometers, func(o *fleet.Odometer) fleet.Date { return o.Date })
	h.Swaps = within(from, to, h.Swaps, func(s *fleet.ClusterSwap) fleet.Date { return s.Date })
	h.Readings = within(from, to, h.Readings, func(r *fleet.Reading) fleet.Date { return r.Date })
	h.Fitments = within(from, to, h.Fitments, func(f *fleet.Fitment) fleet.Date { return f.Date })
	h.Conditions = within(from, to, h.Conditions, func(c *fleet.Condition) fleet.Date { return c.Date })
	return send(c, http.StatusOK, History{
		Odometer: items(h.Odometers, func(o *fleet.Odometer) Odometer {
			return Odometer{o.ID, o.Date, o.Km, o.UploadID, asideOf(o.Aside)}
		}),
		Swaps: items(h.Swaps, func(s *fleet.ClusterSwap) ClusterSwap {
			return ClusterSwap{s.Date, s.OldKm, s.NewKm, s.UploadID}
		}),
		Readings: items(h.Readings, func(r *fleet.Reading) Reading {
			return Reading{
				ID:         r.ID,
				Date:       r.Date,
				OdometerKm: r.OdometerKm,
				Axle:       r.Position.Axle,
				Part:       string(r.Position.Part),
				Side:       string(r.Position.Side),
				Face:       string(r.Position.Face),
				ValueMM:    r.MM,
				Tripped:    r.Tripped,
				Given:      r.Given,
				Unit:       r.Unit,
				Gauge:      r.Gauge,
				Technician: r.Technician,
				Note:       r.Note,
				UploadID:   r.UploadID,
				Aside:      asideOf(r.Aside),
			}
		}),
		Fitments: items(h.Fitments, func(f *fleet.Fitment) Fitment {
			out := Fitment{
				ID:         f.ID,
				Date:       f.Date,
				OdometerKm: f.OdometerKm,
				Axle:       f.Position.Axle,
				Part:       string(f.Position.Part),
				Side:       string(f.Position.Side),
				Face:       string(f.Position.Face),
				UploadID:   f.UploadID,
				Aside:      asideOf(f.Aside),
			}
			if f.MM != 0 {
				out.ValueMM = &f.MM
			}
			return out
		}),
		Conditions: items(h.Conditions, seenCondition),
	})
}

// byDate joins rows that count with rows that do not.
func byDate[T any](counting, aside []T, date func(*T) fleet.Date) []T {
	all := slices.Concat(counting, aside)
	slices.SortStableFunc(all, func(a, b T) int { return cmp.Compare(date(&a), date(&b)) })
	return all
}

// within leaves the rows of some days, both included; nil: without end.
func within[T any](from, to *fleet.Date, rows []T, date func(*T) fleet.Date) []T {
	if from == nil && to == nil {
		return rows
	}
	var out []T
	for i := range rows {
		if d := date(&rows[i]); (from == nil || d >= *from) && (to == nil || d <= *to) {
			out = append(out, rows[i])
		}
	}
	return out
}

// forecasts answers with the latest forecast of each axle.
func (a *API) forecasts(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	number, fs, err := a.svc.DB.NumberedForecasts(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[pipeline.Report]{items(fs, func(f *store.AxleForecast) pipeline.Report {
		return pipeline.ReportOf(number, &f.AxleForecast, f.Risk)
	})})
}
