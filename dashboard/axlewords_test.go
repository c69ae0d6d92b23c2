package dashboard

import (
	"html/template"
	"strings"
	"testing"
)

// TestAxleWordsAreThoseOfTemplates holds the words of axles to what html/template writes
// of the same.
func TestAxleWordsAreThoseOfTemplates(t *testing.T) {
	const awkward = `a "quoted" & <b>bold</b> 'word' + more`
	words := []string{awkward, "", "Three"}
	axles := []AxleView{
		{},
		{
			Number: 1, Title: awkward, Verdict: Verdict{Ask: awkward, Strong: awkward, ISO: "2026-03-20", Why: awkward, Urgent: true},
			Says: words, Warnings: words, Basis: words, Moved: &Moved{Since: awkward, Says: awkward, Why: words},
			Booked: &BookedView{"/plan?week=2026-03-16", awkward}, Lane: &PlanLane{2, Lane{Say: awkward, Lens: true, X: "1.5%", W: "20%", Level: 3}},
		},
		{Number: 12, Title: "Nothing to forecast from", Verdict: Verdict{Strong: "now"}, Says: []string{"One"}, Basis: []string{awkward}, Moved: &Moved{Says: "The same."}},
	}
	for _, c := range []struct {
		name, text string
		got        func(v *AxleView) template.HTML
	}{
		{"summary", `<li><a href="#axle-{{.Number}}"><small>Axle {{.Number}}</small> {{.Title}}</a><div class="to-do">{{verdict .Verdict}}{{with .Booked}}<a class="peg-link" href="{{.Link}}">{{.Words}}</a>{{end}}</div>{{with .Lane}}{{smalllane .}}{{end}}</li>
`, func(v *AxleView) template.HTML { return summaryRows([]AxleView{*v}) }},
		{"words", `<div class="axle-words">
<div>
{{verdict .Verdict}}
{{range .Says}}<p>{{.}}</p>{{end}}
{{if .Warnings}}<ul class="warnings">{{range .Warnings}}<li>{{.}}</li>{{end}}</ul>{{end}}
{{with .Moved}}<div class="moved"><h3>Since the forecast of {{.Since}}</h3><p>{{.Says}}</p>{{if .Why}}<ul class="basis">{{range .Why}}<li>{{.}}</li>{{end}}</ul>{{end}}</div>{{end}}
</div>
{{if .Basis}}<div><h3>What this rests on</h3><ul class="basis">{{range .Basis}}<li>{{.}}</li>{{end}}</ul><p><a href="/help#trust">When not to trust a forecast</a> · <a href="/learned">What the fleet has taught</a></p></div>{{end}}
</div>`, axleWords},
	} {
		of := template.Must(template.New("").Funcs(template.FuncMap{"verdict": verdictHTML, "smalllane": smallLaneOf}).Parse(c.text))
		for i := range axles {
			var want strings.Builder
			if err := of.Execute(&want, &axles[i]); err != nil {
				t.Fatal(err)
			}
			if got := c.got(&axles[i]); string(got) != want.String() {
				t.Errorf("%s, axle %d: got\n%s\nwant\n%s", c.name, i, got, want.String())
			}
		}
	}
}
