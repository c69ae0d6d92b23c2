package api

import (
	"net/http"
	"slices"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// Limits is the limits that hold for a vehicle's axles, and why.
type Limits struct {
	VehicleID int64      `json:"vehicle_id"`
	RuleSet   string     `json:"rule_set"` // id; blank: none was picked
	Limits    []Limit    `json:"limits"`
	History   []SetLimit `json:"history"` // what the workshop has set, newest first
}

// Limit is the limit of a part of an axle.
type Limit struct {
	Axle     int      `json:"axle"`
	Part     string   `json:"part"`
	NewMM    float64  `json:"new_mm"`
	MakerMM  *float64 `json:"maker_mm"` // null: not known
	Rule     *string  `json:"rule"`     // id of the rule set's value; null: it asks nothing
	LimitMM  float64  `json:"limit_mm"` // that holds
	Source   string   `json:"source"`   // of that
	Note     string   `json:"note"`
	Workshop bool     `json:"workshop"` // it is the workshop's own
}

// SetLimit is a workshop's own limit, as it was set or withdrawn.
type SetLimit struct {
	Axle    int       `json:"axle"`
	Part    string    `json:"part"`
	LimitMM *float64  `json:"limit_mm"` // null: withdrawn
	Why     string    `json:"why"`
	By      string    `json:"by"`
	At      time.Time `json:"at"`
}

// limits answers with the limits of the vehicle in the path.
func (a *API) limits(c *gin.Context) error {
	h, err := a.known(c)
	if err != nil {
		return err
	}
	set, err := a.svc.DB.AxleLimits(c.Request.Context(), a.scope(c), h.Vehicle.ID)
	if err != nil {
		return err
	}
	out := Limits{
		VehicleID: h.Vehicle.ID,
		RuleSet:   h.RuleSet,
		Limits:    []Limit{},
		History: items(set, func(l *fleet.AxleLimit) SetLimit {
			return SetLimit{l.Axle, string(l.Part), some(l.MM, 4), l.Why, l.By, l.At.UTC()}
		}),
	}
	for i := range h.Axles {
		x := &h.Axles[i]
		for _, p := range fleet.Parts {
			l, ok := pipeline.LimitOf(&h, x, p)
			if !ok {
				continue
			}
			row := Limit{Axle: x.Number, Part: string(p), NewMM: x.Specs[p].New, LimitMM: round(l.MM, 4), Source: l.Source(), Note: l.Note, Workshop: l.Origin == rules.FromWorkshop}
			if x.Specs[p].Source == rules.MakerSource {
				row.MakerMM = number(x.Specs[p].Limit, 4)
			}
			if l.Rule != nil {
				row.Rule = &l.Rule.Use.Value.ID
			}
			out.Limits = append(out.Limits, row)
		}
	}
	return send(c, http.StatusOK, out)
}

// setLimit keeps a workshop's own limit of a part of an axle, or withdraws it;
// the vehicle is forecast anew.
func (a *API) setLimit(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	var in struct {
		Axle    int                  `json:"axle"`
		Part    fleet.Part           `json:"part"`
		LimitMM maybe[writtenLength] `json:"limit_mm"` // null withdraws it
		Why     string               `json:"why"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	l := fleet.AxleLimit{VehicleID: id, Axle: in.Axle, Part: in.Part, Reason: fleet.Reason{Why: in.Why, By: a.sender(c)}}
	switch {
	case !slices.Contains(fleet.Parts, l.Part):
		return fleet.Invalidf("part %q: want one of %s", l.Part, fleet.OneOf(fleet.Parts))
	case !in.LimitMM.given:
		return fleet.Invalidf("limit_mm: missing; null withdraws the workshop's own")
	case in.LimitMM.x != nil:
		written := string(*in.LimitMM.x)
		x, err := ingest.ParseThickness(written, "mm")
		if err == nil && x.MM <= 0 {
			err = fleet.Invalidf("want more than 0 mm; null withdraws the workshop's own")
		}
		if err != nil {
			return &web.FaultsError{
				Status: http.StatusUnprocessableEntity,
				Detail: "The limit cannot be read; nothing was changed.",
				Faults: []web.Fault{{Column: "limit_mm", Read: written, Detail: err.Error()}},
			}
		}
		l.MM = x.MM
	}
	if err := a.svc.SetAxleLimit(c.Request.Context(), a.scope(c), l, a.svc.Today()); err != nil {
		return err
	}
	return a.limits(c)
}

// Threshold is a value above which something measured is a finding.
type Threshold struct {
	ValueID    string     `json:"value_id"` // of the published value
	What       string     `json:"what"`     // lies beyond it
	Categories []string   `json:"categories"`
	Unit       string     `json:"unit"`
	Published  string     `json:"published"` // as printed
	X          float64    `json:"x"`         // that holds
	Changed    bool       `json:"changed"`   // it is the workshop's own
	Why        *string    `json:"why"`       // null: nobody ever changed it
	By         *string    `json:"by"`
	At         *time.Time `json:"at"`
}

// thresholds answers with the thresholds of the fleet in the path.
func (a *API) thresholds(c *gin.Context) error {
	id, err := idAlone(c, "fleet")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), a.scope(c)
	fs, err := a.svc.DB.Fleets(ctx, sc)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(fs, func(f fleet.Fleet) bool { return f.ID == id }) {
		return fleet.NotFoundf("fleet %d: there is none, or none that you may see", id)
	}
	ts, err := a.svc.Thresholds(ctx, sc, id)
	if err != nil {
		return err
	}
	own, err := a.svc.DB.OwnThresholds(ctx, sc, id)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[Threshold]{items(ts, func(t *rules.Threshold) Threshold {
		v := t.Published
		out := Threshold{
			ValueID:    v.ID,
			What:       t.What,
			Categories: items(t.Categories, func(c *fleet.Category) string { return string(*c) }),
			Unit:       v.Unit,
			Published:  v.Text,
			X:          t.X,
			Changed:    t.Changed,
		}
		for _, o := range own {
			if o.ValueID == v.ID {
				at := o.At.UTC()
				out.Why, out.By, out.At = &o.Why, &o.By, &at
			}
		}
		return out
	})})
}

// setThreshold puts a threshold of the workshop's own in the place of a
// published value, or takes it back.
func (a *API) setThreshold(c *gin.Context) error {
	id, err := idAlone(c, "fleet")
	if err != nil {
		return err
	}
	var in struct {
		ValueID string         `json:"value_id"`
		X       maybe[float64] `json:"x"` // null goes back to the published one
		Why     string         `json:"why"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if !in.X.given {
		return fleet.Invalidf("x: missing; null goes back to the published value")
	}
	o := store.OwnThreshold{FleetID: id, ValueID: in.ValueID, X: in.X.x, Reason: fleet.Reason{Why: in.Why, By: a.sender(c)}}
	if err := a.svc.SetThreshold(c.Request.Context(), a.scope(c), o); err != nil {
		return err
	}
	return a.thresholds(c)
}
