package dashboard

import (
	"fmt"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
)

// ToJudge is what a brake test that is not judged lacks.
type ToJudge struct {
	Why   string // it is not
	How   string // to have it judged
	Link  string // where that is done; blank: not by whoever looks
	Label string
}

// picksRules says whether somebody may pick a fleet's rule set: it is the whole fleet's.
func picksRules(who auth.Who, fleetID int64) bool { return who.Scope(auth.Decide).Sees(fleetID, 0) }

// toJudge says what the brake tests of a vehicle lack to be judged by a set; nil
// where that asks nothing of such tests, or the test itself says too little.
func toJudge(who auth.Who, v *fleet.Vehicle, set *rules.Set) *ToJudge {
	var why string
	which := "a rule set"
	switch {
	case set.ID == rules.Unset:
		why = "No rule set is picked for this fleet, so its tests are kept but not judged."
	case len(set.Uses()) == 0:
		why, which = fmt.Sprintf("This fleet goes by “%s”, which asks nothing of brake tests.", set.Name), "another rule set"
	case v.Category == "":
		return &ToJudge{"The vehicle’s category is not known, so its tests are not judged.",
			"Tests are judged once a vehicles file says the category:", "/readings", "hand one in"}
	default:
		return nil
	}
	if !picksRules(who, v.FleetID) {
		return &ToJudge{Why: why, How: fmt.Sprintf("Tests are judged once a manager of the whole fleet picks %s.", which)}
	}
	return &ToJudge{why, fmt.Sprintf("Tests are judged once %s is picked:", which), fleetRulesLink(v.FleetID), "pick one"}
}
