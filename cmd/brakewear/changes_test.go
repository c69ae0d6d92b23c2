package main

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// unbooked is the first vehicle that nothing is booked for.
const unbooked = " from vehicles v where not exists (select 1 from bookings b where b.vehicle_id = v.id) and exists (select 1 from axles a where a.vehicle_id = v.id) order by v.id limit 1"

// bodies are what is sent to a route that changes something, where a form that
// fits many does not do. {…} stands for what a query gives.
var bodies = map[string]string{
	"POST /corrections/:kind/:id/axle":         "act=move&axle=2&why=mine&by=me",
	"POST /readings":                           "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\n" + readingsCSV + "\r\n--x--\r\n",
	"POST /vehicles/:id/measure":               "date=2026-03-01&technician=Ann&note=a+pin+is+stiff",
	"POST /vehicles/:id/test":                  "method=decelerometer&day=2026-03-01&brake=service&mean=5.4&decel_unit=m/s%C2%B2",
	"POST /cards":                              "by=Ann&booking={select id from bookings where state = 'booked' limit 1}",
	"POST /cards/:id/steps":                    "by=Ann&nonce=1&state_1=done",
	"POST /cards/:id/parts":                    "by=Ann&on_1_pad=both",
	"POST /cards/:id/undo":                     "by=Ann&why=mine&part={select id from job_card_parts order by id desc limit 1}",
	"POST /cards/:id/close":                    "by=Ann&state=dropped&note=it+did+not+come",
	"POST /plan/decide":                        "do=decline&visit={select id from proposal_visits where state = 'open' limit 1}",
	"POST /bookings":                           "vehicle={select v.id" + unbooked + "}&depot={select v.depot_id" + unbooked + "}&day=2026-05-12&axle=1",
	"POST /workshops/:id":                      workshopForm(),
	"POST /work":                               "job={select job from job_times limit 1}&zone={select zone from job_times limit 1}",
	"POST /api/v1/vehicles/:id/inspections":    `{"note":"another pin is stiff"}`,
	"POST /api/v1/axles":                       `[{"vehicle":"Bus 112","axle":4,"brake":"disc","pad_new_mm":20,"pad_limit_mm":3}]`,
	"POST /api/v1/fitments":                    `[{"vehicle":"Bus 112","date":"2026-03-01","odometer_km":900000,"axle":1,"part":"pad","value_mm":null}]`,
	"POST /api/v1/readings":                    `[{"vehicle":"Bus 112","date":"2026-03-01","odometer_km":900000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":9.5}]`,
	"POST /api/v1/brake_tests":                 `[{"vehicle":"Bus 112","date":"2026-03-01","method":"decelerometer","mean_m_s2":5.6}]`,
	"POST /api/v1/parts":                       `[{"part_number":"P 9","fleet":"Skarrowmere Island Transport","item":"pads","price":120.5}]`,
	"POST /api/v1/planned_visits":              `[{"vehicle":"Bus 112","day":"2026-07-06","what":"statutory test"}]`,
	"POST /api/v1/absences":                    `[{"vehicle":"Bus 112","first_day":"2026-07-06","weekdays":"Mon","reason":"school term"}]`,
	"POST /api/v1/bookings":                    `{"vehicle_id":{select v.id` + unbooked + `},"depot_id":{select v.depot_id` + unbooked + `},"day":"2026-05-13","axles":[1]}`,
	"PUT /api/v1/workshops/:id":                workshopJSON,
	"POST /parts":                              "fleet=1&number=PAD-Y&name=Pads&item=pads&per_axle=4&price=10&lead_days=3",
	"POST /account":                            "name=Ann&email={me}@example.org",
	"POST /account/units":                      "distance=mi&thickness=in&days=y-m-d",
	"POST /account/tokens":                     "name=press&right=see&until=2026-04-01",
	"POST /findings/:id":                       "act=note&why=worn+evenly+now&by=Ann",
	"POST /bookings/:id/move":                  "depot=1&day=2026-05-04&why=asked",
	"POST /calendars":                          "depot=1",
	"POST /parts/:id":                          "fleet=1&number=PAD-X&name=Pads&item=pads&per_axle=4&price=10&lead_days=3",
	"POST /people":                             "name=Dan&address=dan@example.org&role=planner&everything=1",
	"POST /people/:id":                         "name=Bea&address=bea@example.org&role=planner&everything=1",
	"POST /accounts":                           "name=Cem&email=cem@example.org&role=planner&place=1/0",
	"POST /accounts/:id/roles":                 "role=technician&place=1/0",
	"POST /rules/fleets/:id/thresholds":        "value=WP-17.2&x=3&why=own+practice&by=Ann",
	"POST /steps/makers":                       "by=Ann&fleet=1&measure=wheel+nuts&low=100&high=120&unit=Nm&source=manual",
	"POST /vehicles/:id/limits":                "axle=1&part=pad&mm=4&why=own+practice&by=Ann",
	"POST /vehicles/:id/odometer":              "day=2026-02-01&old=158000&new=12",
	"POST /vehicles/:id/days":                  "form=coming&day=2026-05-04&what=inspection",
	"POST /api/v1/findings/:id/notes":          `{"why":"worn evenly now"}`,
	"POST /api/v1/uploads":                     "vehicle,fleet,depot\nBus 900,Skarrowmere Island Transport,Quenby Sands\n",
	"POST /api/v1/files":                       readingsCSV,
	"POST /api/v1/checks":                      readingsCSV,
	"POST /api/v1/vehicles":                    `[{"vehicle":"Bus 112x","fleet":"North","depot":"Quay","category":"M3"}]`,
	"POST /api/v1/odometer":                    `[{"vehicle":"Bus 112","date":"2026-03-01","odometer_km":900000}]`,
	"POST /api/v1/readings/:id/corrections":    `{"act":"undone","why":"it was right"}`, // the page's, before
	"POST /api/v1/visits/accept":               `{"ids":[{select id from proposal_visits where state = 'open'}]}`,
	"POST /api/v1/odometer/:id/corrections":    `{"act":"set aside","why":"mistyped"}`,
	"POST /api/v1/fitments/:id/corrections":    `{"act":"set aside","why":"mistyped"}`,
	"POST /api/v1/bookings/:id/move":           `{"depot_id":1,"day":"2026-05-05","why":"asked"}`,
	"POST /api/v1/bookings/:id/missed":         `{"why":"did not come"}`,
	"POST /api/v1/bookings/:id/withdrawn":      `{"why":"sold"}`,
	"POST /api/v1/proposals":                   `{"fleet_id":1}`,
	"POST /api/v1/workshops/:id/closures":      `{"closures":[{"first":"2026-06-01","reason":"holiday"}]}`,
	"POST /api/v1/vehicles/:id/absences":       `{"absences":[{"first":"2026-06-01","last":"2026-06-05","reason":"hired out"}]}`,
	"POST /api/v1/vehicles/:id/planned_visits": `{"planned_visits":[{"day":"2026-06-08","what":"service"}]}`,
	"PUT /api/v1/vehicles/:id/fluid_change":    `{"day":"2026-02-01"}`,
	"PUT /api/v1/vehicles/:id/limits":          `{"axle":1,"part":"pad","limit_mm":4,"why":"own practice"}`,
	"PUT /api/v1/fleets/:id/thresholds":        `{"value_id":"WP-17.2","x":3,"why":"own practice"}`,
	"POST /api/v1/conditions/:id/corrections":  `{"act":"set aside","why":"mistyped"}`,
	"POST /api/v1/brake_tests/:id/corrections": `{"act":"set aside","why":"mistyped"}`,
	"POST /api/v1/readings/:id/move":           `{"axle":2,"why":"mistyped"}`,
	"PUT /api/v1/fleets/:id/rule_set":          `{"rule_set":"us-393","why":"moved"}`,
	"POST /api/v1/visits/reopen":               `{"ids":[{select id from proposal_visits where state = 'declined'}]}`,
	"POST /api/v1/visits/decline":              `{"ids":[{select id from proposal_visits where state = 'open'}]}`,
}

// workshopForm is the form of a workshop.
func workshopForm() string {
	f := url.Values{
		"time_zone": {"UTC"}, "bays": {"2"}, "overtime": {"1"}, "fluid_months": {"24"}, "currency": {"KR"}, "labour_rate": {"80"}, "overtime_rate": {"100"},
		"visit_cost": {"100"}, "set_light": {"60"}, "set_heavy": {"200"}, "past_light": {"400"}, "past_heavy": {"800"},
	}
	for i := range fleet.Weekdays {
		n := strconv.Itoa(i)
		f.Set("opens_"+n, "07:00")
		f.Set("closes_"+n, "17:00")
		f.Set("technicians_"+n, "16")
	}
	for _, t := range fleet.Tasks {
		f.Set("light_"+string(t), "1")
		f.Set("heavy_"+string(t), "2")
	}
	return f.Encode()
}

const workshopJSON = `{"bays":2,"week":[` + workDay + "," + workDay + "," + workDay + "," + workDay + "," + workDay + "," + workDay + "," + workDay + `],
	"overtime_hours":1,"task_hours":{},"currency":"KR","labour_rate":81,"overtime_rate":100,"visit_cost":100,
	"set_price":{"light":60,"heavy":200},"past_limit_cost":{"light":400,"heavy":800},"fluid_months":24}`

const workDay = `{"opens":"07:00","closes":"17:00","technician_hours":16}`

// password is one that nobody refuses.
const password = "harbour lantern 62 mossy"

// changesNothing are the routes that are sent something and change nothing.
var changesNothing = []string{"POST /api/v1/checks"}

// ready brings about what a route changes, for a walker whose session who is,
// where the demo has none of it. It returns the address, blank where that is the
// one of records, and the body, blank where that is the one of bodies.
var ready = map[string]func(t *testing.T, w *town, who auth.Who) (path, body string, err error){
	"POST /account/password": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		return "", "old=" + url.QueryEscape(password) + "&password=another+" + url.QueryEscape(password) + "&again=another+" + url.QueryEscape(password), w.givePassword(t, who)
	},
	"POST /account/second": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		return "", "old=" + url.QueryEscape(password), w.givePassword(t, who)
	},
	"POST /account/second/confirm": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		err := w.givePassword(t, who)
		if err != nil {
			return "", "", err
		}
		up, err := w.svc.BeginSecond(t.Context(), who, password)
		if err != nil {
			return "", "", err
		}
		code, err := totp.GenerateCode(strings.ReplaceAll(up.Secret, " ", ""), w.svc.Now())
		return "", "code=" + code, err
	},
	"POST /account/second/codes": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		return "", "old=" + url.QueryEscape(password), w.giveSecond(t, who)
	},
	"POST /account/second/end": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		return "", "old=" + url.QueryEscape(password), w.giveSecond(t, who)
	},
	"POST /accounts/:id/second/end": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		other := w.who(t, w.signIn(t, "lost-a-phone", auth.Grant{Role: auth.Technician}))
		return fmt.Sprintf("/accounts/%d/second/end", other.Account), "", w.giveSecond(t, other)
	},
	"POST /accounts/:id/openid/end": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		w.signIn(t, "from-elsewhere", auth.Grant{Role: auth.Technician})
		id, err := w.svc.DB.BindSubject(t.Context(), store.Subject{Issuer: "https://id.example.org", Subject: "7"}, "from-elsewhere@example.org")
		return fmt.Sprintf("/accounts/%d/openid/end", id), "", err
	},
	"POST /account/tokens/:id/end": func(t *testing.T, w *town, who auth.Who) (string, string, error) {
		token := store.Token{Name: "press", Rights: []auth.Right{auth.See}, Until: w.svc.Now().Add(time.Hour)}
		err := w.svc.DB.AddToken(t.Context(), who, &token, auth.NewSecret())
		return fmt.Sprintf("/account/tokens/%d/end", token.ID), "", err
	},
	"POST /steps": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		plans, err := w.svc.DB.StepPlans(t.Context(), auth.AllFleets(), 1)
		return "", fmt.Sprintf("by=Ann&fleet=1&section=%s&version=%d&text_1=Look+at+the+pins&at_1=1", fleet.Sections[0], plans[fleet.Sections[0]].Version), err
	},
	"POST /api/v1/bookings/:id/done": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		rows := storetest.Dump(t, w.file, "select min(id) as id from bookings where state = 'booked'")
		_, id, _ := strings.Cut(strings.TrimSpace(rows[0]), "=")
		storetest.Exec(t, w.file, fmt.Sprintf("update bookings set day = '%s' where id = %s", w.svc.Today(), id)) // which has come
		return "/api/v1/bookings/" + id + "/done", `{"why":"done"}`, nil
	},
	"POST /api/v1/findings/:id/fitment": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		return "/api/v1/findings/" + w.suggestion(t) + "/fitment", `{"why":"job sheet 12"}`, nil
	},
	"POST /api/v1/findings/:id/refusal": func(t *testing.T, w *town, _ auth.Who) (string, string, error) {
		return "/api/v1/findings/" + w.suggestion(t) + "/refusal", `{"why":"nothing was fitted"}`, nil
	},
}

// who is whose session a secret is.
func (w *town) who(t *testing.T, session string) auth.Who {
	t.Helper()
	who, err := w.svc.DB.SessionOf(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	return who
}

// givePassword gives who the password.
func (w *town) givePassword(t *testing.T, who auth.Who) error {
	hash, err := auth.NewHasher(1).Hash(t.Context(), password)
	if err != nil {
		return err
	}
	return w.svc.DB.ChangePassword(t.Context(), who, hash)
}

// giveSecond gives who the password and a second factor that is in force.
func (w *town) giveSecond(t *testing.T, who auth.Who) error {
	if err := w.givePassword(t, who); err != nil {
		return err
	}
	secret := auth.NewSecond()
	if err := w.svc.DB.BeginSecond(t.Context(), who.Account, secret); err != nil {
		return err
	}
	return w.svc.DB.ConfirmSecond(t.Context(), who, secret, 1, nil)
}

// suggestion is the id of a finding that suggests a fitment.
func (w *town) suggestion(t *testing.T) string {
	t.Helper()
	rows := storetest.Dump(t, w.file, "select id from findings where state = 'open' and fit_day is not null and answer = ''")
	if len(rows) == 0 {
		t.Fatal("the demo has no finding that suggests a fitment")
	}
	_, id, _ := strings.Cut(strings.TrimSpace(rows[0]), "=")
	return id
}

// TestEveryChangeIsTold walks the routes that change something: the log of
// changes says of each who did it, from where and in which request.
func TestEveryChangeIsTold(t *testing.T) {
	w := demoTown(t)
	for i, rule := range web.Routes {
		if rule.Method == http.MethodGet || rule.Method == http.MethodHead || rule.Right == auth.Public {
			continue
		}
		route := rule.Method + " " + rule.Path
		name := fmt.Sprintf("walker-%d", i)
		session := w.signIn(t, name, auth.Grant{Role: auth.Admin})
		var path, body string
		if get := ready[route]; get != nil {
			var err error
			if path, body, err = get(t, w, w.who(t, session)); err != nil {
				t.Fatalf("%s: %v", route, err)
			}
		}
		if path == "" {
			path, _ = w.at(t, rule.Path)
		}
		form := cmp.Or(body, bodies[route],
			"act=set-aside&why=mine&by=me&reason=mine&name=mine&state=done&note=mine&form=absence&first=2026-05-01&last=2026-05-02")
		for before, after, ok := strings.Cut(form, "{select"); ok; before, after, ok = strings.Cut(form, "{select") {
			query, after, _ := strings.Cut("select"+after, "}")
			rows := storetest.Dump(t, w.file, query)
			if len(rows) == 0 {
				t.Fatalf("%s: there is none: %s", route, query)
			}
			_, value, _ := strings.Cut(strings.TrimSpace(rows[0]), "=")
			form = before + value + after
		}
		form = strings.ReplaceAll(form, "{me}", name)
		rec := w.send(t.Context(), rule.Method, path, session, form)
		if rec.Code >= 400 {
			t.Errorf("%s: got %d: give it a body that fits, or make ready what it changes: %.400s", route, rec.Code, said(rec.Body.String()))
			continue
		}
		rows := storetest.Dump(t, w.file, fmt.Sprintf(`
			select l.via, l.origin, a.email
			from audit_log l
			join accounts a on a.id = l.account_id
			where l.request = '%s'`, rec.Header().Get("X-Request-Id")))
		if slices.Contains(changesNothing, route) {
			if len(rows) > 0 {
				t.Errorf("%s: the log of changes has %q, and nothing was to change", route, rows)
			}
			continue
		}
		via, email := "page", name+"@example.org"
		if strings.HasPrefix(path, "/api/") {
			via = "api"
		}
		want := fmt.Sprintf("via=%s origin=192.0.2.1 email=%s ", via, email) // where httptest's requests come from
		if !slices.Contains(rows, want) {
			t.Errorf("%s (%d): the log of changes has %q, want %q", route, rec.Code, rows, want)
		}
	}
}

// said is what an answer says: of a page, what stands in its middle.
func said(body string) string {
	if _, main, ok := strings.Cut(body, "<main"); ok {
		return main
	}
	return body
}
