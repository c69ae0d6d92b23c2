package dashboard

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// RecordPage is the track record: what was forecast, beside what came off.
type RecordPage struct {
	Shell
	Months     []Choice
	Fleets     []Choice
	Depots     []Choice
	Categories []Choice
	Few        string // why nothing can be judged yet; blank when enough came off
	Figures    []Fact
	Says       []string // the figures, and what they leave out, in words
	Ahead      []RecordLine
	Picture    *Picture
	Groups     []RecordGroup
	Latest     []RecordRemoval
	Before     int     // days before a removal that its forecast was made
	More       int     // removals not listed
	All        *Choice // link to the page that lists more; nil = it does
	Empty      *Empty
}

// RecordLine is how forecasts of one distance ahead, or of one group, did.
type RecordLine struct {
	Name                 string
	N                    int
	InsideDays, InsideKm string
	ErrorDays, ErrorKm   string
	InCone               string
	Left, Past           string // of a group
}

// RecordGroup is a table of lines by class or depot.
type RecordGroup struct {
	By    string
	Ahead int // days
	Rows  []RecordLine
}

// RecordRemoval is one set that came off.
type RecordRemoval struct {
	Link, Vehicle, What string
	Day, ISO            string
	Left                string
	Promised            string // what was forecast of it, the middle distance ahead
	Came                string
}

const (
	// fewJobs is how many sets must have come off before shares are given: below
	// it one set more or less moves them by a twentieth or more. Judgement.
	fewJobs = 20
	// recordMonths is how far back the page looks unless asked.
	recordMonths = 12
	// listed is how many removals, and lines of the picture, are shown.
	listed = 40
	// listedAll is how many removals are shown where all are asked for: ten thousand
	// would be megabytes.
	listedAll = 1000
	// middle is the distance ahead that groups and the picture show.
	middle = 1
)

func (d *Dashboard) record(c *gin.Context) error {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	fleetID, fleets, err := d.fleetChoice(c)
	if err != nil {
		return err
	}
	depotID, depots, err := d.depotOfFleet(c, fleetID)
	if err != nil {
		return err
	}
	months := recordMonths
	if s := c.Query("months"); s != "" {
		if months, err = strconv.Atoi(s); err != nil || months < 0 || months > 1200 {
			return fleet.Invalidf("months %q: want a number of months, or 0 for all", s)
		}
	}
	category := fleet.Category(c.Query("class"))
	if category != "" && !category.Valid() {
		return fleet.Invalidf("class %q: want one of M1 M2 M3 N1 N2 N3 O1 O2 O3 O4", category)
	}
	today := d.svc.Today()
	q := store.RecordQuery{Fleet: fleetID, Depot: depotID, Category: category}
	if months > 0 {
		q.Since = fleet.DateOf(today.Time().AddDate(0, -months, 0))
	}
	rows := recordRows{list: listed, classes: map[string]bool{}, byClass: map[string]*pipeline.Scorer{}, byDepot: map[string]*pipeline.Scorer{}}
	all := c.Query("list") == "all"
	if all {
		rows.list = listedAll
	}
	if err := d.svc.DB.EachKept(ctx, sc, q, rows.add); err != nil {
		return err
	}
	p := RecordPage{
		Shell:      Shell{Title: "Track record", Place: "record", Cautions: true},
		Fleets:     fleets,
		Depots:     depots,
		Months:     choices(strconv.Itoa(months), "12", "the last 12 months", "24", "the last 24 months", "0", "all there is"),
		Categories: append([]Choice{{"", "all classes", category == ""}}, categoryChoices(rows.classes, category)...),
	}
	score := rows.all.Score()
	if score.Removed == 0 {
		p.Empty = &Empty{
			Title: "No set has come off in this time",
			Text:  "Measure pads and linings when they are taken off, and enter what was fitted: each is then held against what was forecast of it.",
			Link:  "/readings", Label: "Take readings in",
		}
		return d.send(c, http.StatusOK, "record", p)
	}
	p.Figures, p.Says = recordFigures(tell, &score), recordWords(tell, &score)
	if score.Judged < fewJobs {
		p.Few = fmt.Sprintf("%s so far that can be judged: too few to say how good the forecast is.", plural(score.Judged, "job", "jobs"))
	} else {
		for i := range score.Ahead {
			p.Ahead = append(p.Ahead, recordLine(tell, fmt.Sprintf("%d days ahead", score.Ahead[i].Days), &score.Ahead[i]))
		}
		p.Groups = []RecordGroup{
			recordGroup(tell, "class", rows.byClass),
			recordGroup(tell, "depot", rows.byDepot),
		}
		p.Picture = recordPicture(tell, rows.judged)
	}
	p.Latest, p.More = removals(tell, rows.latest), rows.more
	p.Before = pipeline.Ahead[middle]
	if !all && p.More > 0 {
		ask := c.Request.URL.Query()
		ask.Set("list", "all")
		p.All = &Choice{Value: "/record?" + ask.Encode() + "#latest", Label: "List them all"}
		if n := len(p.Latest) + p.More; n > listedAll {
			p.All.Label = "List the latest " + count(listedAll)
		}
	}
	return d.send(c, http.StatusOK, "record", p)
}

// recordRows is what the page shows of the lines of a record, which come the latest
// first: they are too many to hold.
type recordRows struct {
	all              pipeline.Scorer
	byClass, byDepot map[string]*pipeline.Scorer
	classes          map[string]bool
	latest, judged   []store.Kept // of the middle distance, as many as are listed
	list             int          // how many latest are
	more             int          // removals behind the latest
}

func (r *recordRows) add(k *store.Kept) {
	r.all.Add(k)
	r.classes[string(k.Category)] = true
	for _, g := range []struct {
		of   map[string]*pipeline.Scorer
		name string
	}{{r.byClass, cmp.Or(string(k.Category), "not given")}, {r.byDepot, k.Depot}} {
		if g.of[g.name] == nil {
			g.of[g.name] = new(pipeline.Scorer)
		}
		g.of[g.name].Add(k)
	}
	if k.Ahead != pipeline.Ahead[middle] {
		return
	}
	if len(r.latest) < r.list {
		r.latest = append(r.latest, *k)
	} else {
		r.more++
	}
	if k.Promised != nil && !math.IsNaN(k.CrossDay) && !math.IsNaN(k.Day[1]) && len(r.judged) < listed {
		r.judged = append(r.judged, *k)
	}
}

// choices makes the options of a select of pairs of value and words.
func choices(now string, pairs ...string) []Choice {
	var cs []Choice
	for i := 0; i+1 < len(pairs); i += 2 {
		cs = append(cs, Choice{pairs[i], pairs[i+1], pairs[i] == now})
	}
	return cs
}

// categoryChoices are the classes that occur, and the one asked for.
func categoryChoices(seen map[string]bool, now fleet.Category) []Choice {
	seen[string(now)] = true
	delete(seen, "")
	var cs []Choice
	for _, c := range slices.Sorted(maps.Keys(seen)) {
		cs = append(cs, Choice{c, c, c == string(now)})
	}
	return cs
}

// linings is the part that a record of pads and linings is told as.
const linings = string(fleet.Lining)

// recordWords puts the score into sentences.
func recordWords(tell units.Reader, s *pipeline.RecordScore) []string {
	says := []string{fmt.Sprintf("%s came off. Half of them had %s of usable lining or less left, %s of it.",
		plural(s.Removed, "set of pads or linings", "sets of pads or linings"), tell.Thickness(linings, s.LeftMM), percent(s.LeftShare))}
	switch s.PastLimit {
	case 0:
		says = append(says, "None was found at or past its limit.")
	default:
		says = append(says, fmt.Sprintf("%s found at or past its limit (%s).", plural(s.PastLimit, "was", "were"), percent(float64(s.PastLimit)/float64(s.Removed))))
	}
	says = append(says, fmt.Sprintf("%d were worn enough to say when they met their limit or would have met it.", s.Judged))
	if replayed := s.Ahead[middle].Replayed; replayed > 0 {
		says = append(says, fmt.Sprintf("%d of the forecasts made %d days ahead were worked out afterwards, from what was known on that day.", replayed, s.Ahead[middle].Days))
	}
	if s.WithAll >= fewJobs {
		says = append(says, fmt.Sprintf("Prognostic horizon: %s were forecast to within a fifth of the time left from 90 days ahead on, %s from 30 days ahead on.",
			shareOf(s.Horizon[2], s.WithAll), shareOf(s.Horizon[0], s.WithAll)))
	}
	return says
}

// recordFigures is what a record comes to.
func recordFigures(tell units.Reader, s *pipeline.RecordScore) []Fact {
	fs := []Fact{
		{"sets came off", count(s.Removed)},
		{fmt.Sprintf("of the usable lining left, median; %s", tell.Thickness(linings, s.LeftMM)), percent(s.LeftShare)},
		{fmt.Sprintf("at or past the limit, of %s", count(s.Removed)), count(s.PastLimit)},
	}
	if s.WithAll >= fewJobs {
		fs = append(fs, Fact{"forecast to a fifth of the time left, 90 days ahead", shareOf(s.Horizon[2], s.WithAll)})
	}
	return fs
}

// shareOf is a share of a count in per cent; a dash of none.
func shareOf(k, n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprintf("%.0f\u00a0%%", 100*float64(k)/float64(n))
}

func recordLine(tell units.Reader, name string, s *pipeline.AheadScore) RecordLine {
	l := RecordLine{
		Name: name, N: s.N,
		InsideDays: shareOf(s.InsideDays, s.N), InsideKm: shareOf(s.InsideKm, s.N), InCone: shareOf(s.InCone, s.N),
		ErrorDays: "–", ErrorKm: tell.Km(s.ErrorKm),
	}
	if !math.IsNaN(s.ErrorDays) {
		l.ErrorDays = fmt.Sprintf("%.0f", s.ErrorDays)
	}
	return l
}

// recordGroup scores the parts of a record. A part of few sets says so instead of
// giving shares.
func recordGroup(tell units.Reader, by string, parts map[string]*pipeline.Scorer) RecordGroup {
	g := RecordGroup{By: by, Ahead: pipeline.Ahead[middle]}
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		s := parts[name].Score()
		l := recordLine(tell, name, &s.Ahead[middle])
		if s.Ahead[middle].N < fewJobs {
			l.InsideDays, l.InsideKm, l.InCone, l.ErrorDays, l.ErrorKm = "too few", "", "", "", ""
		}
		l.Left = tell.Thickness(linings, s.LeftMM) + ", " + percent(s.LeftShare)
		l.Past = fmt.Sprintf("%d of %d", s.PastLimit, s.Removed)
		g.Rows = append(g.Rows, l)
	}
	return g
}

// recordPicture draws lines that can be judged.
func recordPicture(tell units.Reader, rows []store.Kept) *Picture {
	var ps []chart.Promise
	for i := range rows {
		k := &rows[i]
		ps = append(ps, chart.Promise{Name: tell.Day(k.Removed), Low: k.Day[0] - k.CrossDay, Mid: k.Day[1] - k.CrossDay, Up: k.Day[2] - k.CrossDay})
	}
	ch := chart.Promises(pipeline.Ahead[middle], ps)
	if ch == nil {
		return nil
	}
	return newPicture(fmt.Sprintf("Forecasts made %d days ahead, the latest %d", pipeline.Ahead[middle], len(ps)), ch)
}

// removals lists the latest sets that came off.
func removals(tell units.Reader, rows []store.Kept) (out []RecordRemoval) {
	for i := range rows {
		k := &rows[i]
		r := RecordRemoval{
			Link:    fmt.Sprintf("/vehicles/%d#axle-%d", k.VehicleID, k.Axle),
			Vehicle: k.Number,
			What:    fmt.Sprintf("axle %d, %ss", k.Axle, k.Part),
			Day:     tell.Day(k.Removed), ISO: k.Removed.String(),
			Left:     tell.Thickness(string(k.Part), k.LeftMM) + ", " + percent(k.LeftShare),
			Promised: "no forecast",
			Came:     "too much left to say",
		}
		if k.LeftMM <= 0 {
			r.Left = "none: at or past its limit"
		}
		if k.Promised != nil && !math.IsNaN(k.Day[1]) {
			r.Promised = tell.Day(dayOf(k.Day[1])) + " (" + tell.Day(dayOf(k.Day[0])) + " – " + tell.Day(dayOf(k.Day[2])) + ")"
		}
		if !math.IsNaN(k.CrossDay) {
			r.Came = tell.Day(dayOf(k.CrossDay))
		}
		out = append(out, r)
	}
	return out
}

// dayOf cuts a day of the forecast, with its fraction, to a civil day.
func dayOf(x float64) fleet.Date { return fleet.Date(math.Floor(x)) }
