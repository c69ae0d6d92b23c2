package api

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// longLists wants every long list to come a row at a time as it comes at once.
func (c *client) longLists(db *store.DB) {
	var vs Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &vs)
	bus := vs.Items[0]
	c.get("/vehicles?q=bus+7", &vs)
	corrected := vs.Items[0] // by findings
	var runs Page[Proposal]
	c.get("/proposals", &runs)
	c.do(call{path: "/parts", body: fmt.Sprintf(`[{"part_number":"P 2","fleet":%q,"item":"rotors"}]`, bus.Fleet), status: 201})
	var told []int64
	for _, r := range []store.Recipient{
		{Name: "N. N.", Address: "n@island.example", Role: store.RoleManager, Everything: true},
		{Name: "M. M.", Address: "m@island.example", Role: store.RolePlanner, Places: []store.Place{{FleetID: bus.FleetID, DepotID: bus.DepotID}, {FleetID: corrected.FleetID}}},
	} {
		if err := db.SaveRecipient(c.t.Context(), auth.AllFleets(), "N. N.", &r); err != nil {
			c.t.Fatal(err)
		}
		told = append(told, r.ID)
	}
	c.run([]call{
		{name: "told of everything", path: fmt.Sprintf("/people/%d", told[0]), want: []string{`"name":"N. N.","address":"n@island.example","role":"manager","everything":true,"places":[],"added_by":"N. N."`, `"last":null`}},
		{name: "told of places", path: fmt.Sprintf("/people/%d", told[1]), want: []string{
			fmt.Sprintf(`{"fleet_id":%d,"fleet":"Ferry Lines","depot_id":%d,"depot":"Harbour"}`, bus.FleetID, bus.DepotID), `"depot_id":null,"depot":""}`}},
		{name: "nobody", path: "/people/999", status: 404},
	})
	for _, path := range []string{
		"/people",
		"/bookings?from=2026-01-01",
		"/bookings?changed_since=2026-03-02T09:00:00%2B00:00",
		fmt.Sprintf("/visits?proposal=%d", runs.Items[len(runs.Items)-1].ID),
		"/proposals?fleet=" + fmt.Sprint(bus.FleetID),
		"/parts?depot=" + fmt.Sprint(bus.DepotID),
		"/workshops",
		fmt.Sprintf("/vehicles/%d/corrections", corrected.ID),
	} {
		to := "?"
		if strings.Contains(path, "?") {
			to = "&"
		}
		var whole Page[json.RawMessage]
		c.get(path+to+"limit=500", &whole)
		if len(whole.Items) < 2 || whole.Next != nil {
			c.t.Errorf("%s: got %d items and %v after them, want 2 or more and nothing", path, len(whole.Items), whole.Next)
		}
		var one []json.RawMessage
		for at := path + to + "limit=1"; ; {
			var page Page[json.RawMessage]
			w := c.do(call{path: at})
			if err := json.Unmarshal(w.Body.Bytes(), &page); err != nil {
				c.t.Fatal(err)
			}
			one = append(one, page.Items...)
			if page.Next == nil || len(one) > len(whole.Items) {
				break
			}
			at = path + to + "limit=1&cursor=" + url.QueryEscape(*page.Next)
			if got := w.Header().Get("Link"); !strings.Contains(got, "cursor="+url.QueryEscape(*page.Next)) || !strings.Contains(got, `rel="next"`) {
				c.t.Errorf("%s: got Link %q", path, got)
			}
		}
		if !slices.EqualFunc(one, whole.Items, func(a, b json.RawMessage) bool { return string(a) == string(b) }) {
			c.t.Errorf("%s: got %s a row at a time, want %s", path, one, whole.Items)
		}
		c.do(call{path: path + to + "cursor=last", status: 400, want: []string{"begin with the first page"}})
	}
	c.do(call{path: "/bookings?changed_since=2026-03-04T00:00:00Z", want: []string{`{"items":[],"next":null}`}})
	c.do(call{path: "/bookings?from=0000-01-01", status: 400, want: []string{`"parameter":"from"`}}) // which a server does not know
	for _, since := range []string{"yesterday", "0000-05-01T00:00:00Z", "0001-01-01T00:30:00%2B01:00", "9999-12-31T23:30:00-01:00"} {
		c.do(call{path: "/bookings?changed_since=" + since, status: 400, want: []string{`"parameter":"changed_since"`, "2026-03-01T09:30:00Z"}})
	}
	c.do(call{path: "/visits?state=accepted&to=2026-01-01", want: []string{`{"items":[],"next":null}`}})
}
