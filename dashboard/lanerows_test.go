package dashboard

import (
	"html/template"
	"strings"
	"testing"
)

// TestLanesAreThoseOfTemplates holds the rows of the due-soon list, and what pages
// share with them, to what html/template writes of the same.
func TestLanesAreThoseOfTemplates(t *testing.T) {
	const awkward = `a "quoted" & <b>bold</b> 'word' + more`
	lens := Lane{Say: awkward, Lens: true, X: "1.5%", W: "20%", Path: "M0 20C1 2 3 4 100 20Z", Level: 3, Notch: "3%", Late: true}
	booked := lens
	booked.Median, booked.Peg = "4.5%", "12%"
	stopped := Lane{Say: "words", Level: 5, Past: true, Notch: "0%", Peg: "1%", Off: passed}
	far := Lane{Level: 1, Off: "from Jan 2028"}
	farLens, passedLens := lens, lens
	farLens.Off, passedLens.Off = far.Off, passed
	now := Verdict{Ask: "book", Strong: "now", Why: "at or past its limit", Urgent: true}
	onDay := Verdict{Ask: awkward, Strong: awkward, ISO: "2026-03-20", Why: awkward}
	rows := []DueRow{
		{},
		{Link: "/vehicles/12#axle-1", Vehicle: awkward, Plate: awkward, Depot: awkward, Of: awkward, Axle: 1, Place: awkward, Thickness: "4.2", Limit: "3", Unit: "mm", Left: "7.06%", KmLeft: "1,200 km left", Readings: 1,
			Lane: booked, Limits: awkward, Booked: &BookedView{"/plan?week=2026-03-16", awkward}, Verdict: onDay, Worth: awkward, Wait: awkward, Warnings: []string{awkward, "Two", ""}},
		{Plate: "KEA 1", Lane: lens, Verdict: Verdict{Why: "éa"}, Worth: "Measured now."},
		{Depot: "Hill", Lane: stopped, Verdict: now, Wait: "Waiting.", Warnings: []string{"One"}},
		{Lane: far}, {Lane: farLens}, {Lane: passedLens, Readings: 1234},
	}
	const (
		full = `<li class="row{{if .Verdict.Urgent}} urgent{{else if .Lane.Late}} late{{end}}">
<div class="who"><a href="{{.Link}}">{{.Vehicle}}</a> {{if .Plate}}<span class="plate">{{.Plate}}</span>{{end}} <small class="depot">{{.Depot}}</small></div>
<div class="what">
<span class="place"><small>Axle {{.Axle}}</small> {{.Place}}</span>
<span class="num">{{.Thickness}}<small> {{.Unit}}</small></span>
<svg class="gauge" width="100%" height="8" aria-hidden="true"><rect class="gauge-room" width="100%" height="8"/>{{if .Left}}<rect class="gauge-left w{{.Lane.Level}}" width="{{.Left}}" height="8"/>{{end}}</svg>
<small class="facts">limit {{.Limit}} · {{.KmLeft}} · {{plural .Readings "reading" "readings"}}</small>
</div>
<div class="lane">{{with .Lane}}<svg width="100%" height="44" role="img"><title>{{.Say}}</title><use href="#axis" width="100%" height="44"/>{{if .Lens}}<svg class="clip" width="100%" height="44"><svg x="{{.X}}" y="2" width="{{.W}}" height="40" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w{{.Level}}" vector-effect="non-scaling-stroke" d="{{.Path}}"/></svg>{{if .Median}}<line class="median w{{.Level}}" x1="{{.Median}}" x2="{{.Median}}" y1="6" y2="38"/>{{end}}</svg>{{end}}{{if .Off}}<text class="ax" x="{{if .Lens}}0{{else}}{{if eq .Off "passed by now, most likely"}}12{{else}}100%{{end}}{{end}}" y="16"{{if ne .Off "passed by now, most likely"}} text-anchor="end"{{end}}>{{.Off}}{{if ne .Off "passed by now, most likely"}} →{{end}}</text>{{end}}{{if .Past}}<path class="stop" d="M-4 6h8v32h-8z"/>{{else if .Notch}}<svg x="{{.Notch}}" class="free"><path class="notch" d="M0 21l-6-12h12z"/></svg>{{end}}{{if .Peg}}<svg x="{{.Peg}}" class="free"><path class="peg" d="M0 42V17m0 0a4 4 0 1 0-.01 0"/></svg>{{end}}</svg>{{end}}</div>
<div class="to-do">{{with .Verdict}}<div class="verdict{{if .Urgent}} urgent{{end}}"><small>{{.Ask}}</small> <strong>{{if .ISO}}<time datetime="{{.ISO}}">{{.Strong}}</time>{{else}}{{.Strong}}{{end}}</strong></div>{{end}}{{with .Booked}}<a class="peg-link" href="{{.Link}}">{{.Words}}</a>{{end}}</div>
<small class="why">{{capital .Verdict.Why}}{{if or .Worth .Wait}}.{{end}}{{if .Worth}} <span class="worth">{{.Worth}}</span>{{end}}{{if .Wait}} {{.Wait}}{{end}}</small>
{{if .Warnings}}<ul class="warnings">{{range .Warnings}}<li>{{.}}</li>{{end}}</ul>{{end}}
</li>
`
		short = `<li class="row{{if .Verdict.Urgent}} urgent{{else if .Lane.Late}} late{{end}}">
<div class="who"><a href="{{.Link}}" title="{{.Plate}}{{if and .Plate .Depot}}, {{end}}{{.Depot}}">{{.Vehicle}}</a>{{if .Of}} <small>{{.Of}}</small>{{end}}</div>
<div class="what"><span class="place"><small>Axle {{.Axle}}</small> {{.Place}}</span> <span class="num">{{.Thickness}}<small> / {{.Limit}}</small></span></div>
<div class="lane">{{with .Lane}}<svg width="100%" height="26" role="img"><title>{{.Say}}</title><use href="#close-axis" width="100%" height="26"/>{{if .Lens}}<svg class="clip" width="100%" height="26"><svg x="{{.X}}" y="2" width="{{.W}}" height="22" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w{{.Level}}" vector-effect="non-scaling-stroke" d="{{.Path}}"/></svg>{{if .Median}}<line class="median w{{.Level}}" x1="{{.Median}}" x2="{{.Median}}" y1="4" y2="22"/>{{end}}</svg>{{end}}{{if .Past}}<path class="stop" d="M-3 3h6v20h-6z"/>{{else if .Notch}}<svg x="{{.Notch}}" class="free"><path class="notch" d="M0 12l-4-8h8z"/></svg>{{end}}{{if .Peg}}<svg x="{{.Peg}}" class="free"><path class="peg" d="M0 25V10m0 0a3 3 0 1 0-.01 0"/></svg>{{end}}</svg>{{end}}</div>
<small class="limits">{{.Limits}}</small>
<div class="to-do">{{with .Verdict}}<span class="verdict{{if .Urgent}} urgent{{end}}"><small>{{.Ask}}</small> <strong>{{if .ISO}}<time datetime="{{.ISO}}">{{.Strong}}</time>{{else}}{{.Strong}}{{end}}</strong></span>{{end}}{{with .Booked}} <a class="peg-link" href="{{.Link}}" title="{{.Words}}"><span>{{.Words}}</span></a>{{end}}{{if .Warnings}} <span class="more" title="{{range $i, $w := .Warnings}}{{if $i}}. {{end}}{{$w}}{{end}}">▸<span>{{range .Warnings}}{{.}}. {{end}}</span></span>{{end}}</div>
</li>
`
		small   = `<div class="small-lane"><small>{{.Axle}}</small>{{with .Lane}}<svg width="100%" height="28" role="img"><title>{{.Say}}</title><use href="#small-axis" width="100%" height="28"/>{{if .Lens}}<svg class="clip" width="100%" height="28"><svg x="{{.X}}" y="3" width="{{.W}}" height="22" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w{{.Level}}" vector-effect="non-scaling-stroke" d="{{.Path}}"/></svg></svg>{{end}}{{if .Past}}<path class="stop" d="M-3 4h6v20h-6z"/>{{else if .Notch}}<svg x="{{.Notch}}" class="free"><path class="notch" d="M0 13l-4-8h8z"/></svg>{{end}}{{if .Peg}}<svg x="{{.Peg}}" class="free"><path class="peg" d="M0 27V11m0 0a3 3 0 1 0-.01 0"/></svg>{{end}}</svg>{{end}}</div>`
		verdict = `<div class="verdict{{if .Urgent}} urgent{{end}}"><small>{{.Ask}}</small> <strong>{{if .ISO}}<time datetime="{{.ISO}}">{{.Strong}}</time>{{else}}{{.Strong}}{{end}}</strong> <small class="why">{{.Why}}</small></div>`
	)
	for name, c := range map[string]struct {
		text string
		got  func(r *DueRow) template.HTML
	}{
		"full":    {full, func(r *DueRow) template.HTML { return fullLines([]DueRow{*r}) }},
		"close":   {short, func(r *DueRow) template.HTML { return closeLines([]DueRow{*r}) }},
		"ticks":   {`{{range .Lane | ticks}}<line class="week" x1="{{.X}}" x2="{{.X}}" y1="18" y2="26"/>{{end}}`, func(r *DueRow) template.HTML { return ticks("week", "18", "26", []Tick{{X: r.Lane.X}, {X: "3%"}}) }},
		"small":   {`{{with small .}}` + small + `{{end}}`, func(r *DueRow) template.HTML { return smallLaneOf(PlanLane{r.Axle, r.Lane}) }},
		"verdict": {`{{with .Verdict}}` + verdict + `{{end}}`, func(r *DueRow) template.HTML { return verdictHTML(r.Verdict) }},
	} {
		of := template.Must(template.New("").Funcs(template.FuncMap{
			"plural": plural, "capital": capital, "ticks": func(l Lane) []Tick { return []Tick{{X: l.X}, {X: "3%"}} }, "small": func(r *DueRow) PlanLane { return PlanLane{r.Axle, r.Lane} },
		}).Parse(c.text))
		for i := range rows {
			var want strings.Builder
			if err := of.Execute(&want, &rows[i]); err != nil {
				t.Fatal(err)
			}
			if got := c.got(&rows[i]); string(got) != want.String() {
				t.Errorf("%s, row %d: got\n%s\nwant\n%s", name, i, got, want.String())
			}
		}
	}
}
