package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// RuleSet is one rule set with the values it is made of.
type RuleSet struct {
	ID     string      `json:"id"`
	Name   string      `json:"name"`
	About  string      `json:"about"`
	Values []RuleValue `json:"values"`
}

// RuleValue is a published value with its place in a rule set.
type RuleValue struct {
	ID         string   `json:"id"`
	What       string   `json:"what"` // it limits
	Categories []string `json:"categories"`
	Quantity   string   `json:"quantity"`
	Value      string   `json:"value"` // as printed
	Unit       string   `json:"unit"`
	Comparison string   `json:"comparison"`
	Source     string   `json:"source"`
	Section    string   `json:"section"`
	Known      string   `json:"known"` // read, memory or judgement
}

func (a *API) ruleSets(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	return send(c, http.StatusOK, List[RuleSet]{items(rules.Sets(), func(s **rules.Set) RuleSet {
		return RuleSet{
			ID:    (*s).ID,
			Name:  (*s).Name,
			About: (*s).About,
			Values: items((*s).Uses(), func(u **rules.Use) RuleValue {
				v := (*u).Value
				return RuleValue{
					ID:         v.ID,
					What:       string((*u).What),
					Categories: items((*u).Categories, func(c *fleet.Category) string { return string(*c) }),
					Quantity:   v.Quantity,
					Value:      v.Text,
					Unit:       v.Unit,
					Comparison: v.Comparison,
					Source:     v.Source,
					Section:    v.Section,
					Known:      string(v.Known),
				}
			}),
		}
	})})
}

// maxChoice bounds the body of a choice: an id and a reason of a page.
const maxChoice = 16 << 10

// pickRules gives a fleet a rule set; the vehicles whose limits it changes are
// forecast anew.
func (a *API) pickRules(c *gin.Context) error {
	id, err := idAlone(c, "fleet")
	if err != nil {
		return err
	}
	var in struct {
		RuleSet *string `json:"rule_set"`
		Why     string  `json:"why"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if in.RuleSet == nil {
		return fleet.Invalidf("rule_set: missing; give the id of one, such as \"eu\"")
	}
	choice := store.RuleChoice{FleetID: id, RuleSet: *in.RuleSet, Reason: fleet.Reason{Why: in.Why, By: a.sender(c)}}
	rep, err := a.svc.PickRules(c.Request.Context(), a.scope(c), choice, a.svc.Today())
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, RulesPicked{FleetID: id, RuleSet: *in.RuleSet, Refitted: rep.Vehicles})
}

// RulesPicked is a rule set picked for a fleet.
type RulesPicked struct {
	FleetID  int64  `json:"fleet_id"`
	RuleSet  string `json:"rule_set"`
	Refitted int    `json:"refitted"` // vehicles whose limits it changed
}
