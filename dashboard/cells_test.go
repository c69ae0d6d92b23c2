package dashboard

import (
	"html/template"
	"strings"
	"testing"

	"brakewear/dashboard/chart"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// TestCellsAreThoseOfTemplates holds what is written without a template to what
// html/template writes of the same.
func TestCellsAreThoseOfTemplates(t *testing.T) {
	awkward := []string{"", "12.3", "≤ 4 (sensor)", `a "quoted" & <b>bold</b> 'word' + more`, "a\x00b", "&amp;", "two\nlines", "\xff"}
	var records []Cell
	for i, s := range awkward {
		records = append(records, Cell{Text: s, Link: "/corrections/reading/12"}, Cell{Text: "7", Link: "", Was: awkward[len(awkward)-1-i]})
	}
	cells := [][]Cell{nil, records, records[:1]}
	chart := &Picture{Title: awkward[3], File: pictureFile(12, "axle-1-pad"), Figures: &chart.Figures{Head: awkward, Rows: [][]string{awkward, nil, {"one"}}}}
	tell := units.Reader{DaysAs: units.MonthDay}
	const d = fleet.Date(20_000)
	lens := Lane{Lens: true, X: "1.5%", W: "20%", Path: "M0 20C1 2 3 4 100 20Z", Level: 3}
	places := []PositionRow{{}, {Place: awkward[3], Decides: true, Thickness: "4.2", Limit: awkward[2], Rate: "–", When: awkward[3], Readings: 12, Since: awkward[3], Lane: lens}}
	lens.Median, lens.Past = "12%", true
	places = append(places, PositionRow{Lane: lens})
	visits := []MeasuredRow{
		{Date: d},
		{Date: d + 1, Km: awkward[3], Cells: cells, Fitted: records[:2], Notes: awkward, Seen: records[3:6], Uploads: []int64{1, 22}},
		{Date: d + 2, Cells: cells[1:], Fitted: records[:1], Notes: awkward[1:2], Uploads: []int64{3}},
	}
	track := []OdometerRow{{Date: d, Km: "12", Link: "/corrections/odometer/1"}, {Date: d + 1, Km: awkward[3], Note: awkward[3], Upload: 33, Was: awkward[3]}}
	axles := []PlanAxle{{Y: 64, Name: awkward[3], Wheels: [2]int{60, 278}}, {
		Y: 188, Name: "axle 2", Wheels: [2]int{60, 278},
		Boxes: []PlanBox{
			{X: 87, Y: 42, W: 13, H: 44},
			{X: 108, Y: 166.5, W: 13, H: 44, FillX: 99.89999999999999, FillW: 4.3, Level: 3, Known: true},
			{X: 108, Y: 0, W: 13, H: 44, FillX: -1, FillW: 1, Level: 5, Known: true, First: true},
		},
		Labels: []PlanLabel{{X: 54, Y: 57, Anchor: "end", Value: "12.3", Name: "outer"}, {X: 180, Y: 110, Anchor: "middle", Value: awkward[3], Name: awkward[3], First: true}},
	}}
	const record = `{{define "record"}}{{if .Was}}<del class="was" title="{{.Was}}"><a href="{{.Link}}">{{.Text}}</a></del>{{else}}<a href="{{.Link}}">{{.Text}}</a>{{end}}{{end}}`
	for _, c := range []struct {
		name, text string
		data       any
		got        template.HTML
	}{
		{"plan", `{{range .}}{{$y := .Y}}<g>
<line class="beam" x1="71" x2="289" y1="{{.Y}}" y2="{{.Y}}"/>
{{range .Wheels}}<rect class="wheel" x="{{.}}" y="{{$y}}" width="22" height="76" rx="7" transform="translate(0 -38)"/>{{end}}
<rect class="rotor" x="102" y="{{.Y}}" width="4" height="56" transform="translate(0 -28)"/><rect class="rotor" x="254" y="{{.Y}}" width="4" height="56" transform="translate(0 -28)"/>
{{range .Boxes}}<rect class="room{{if not .Known}} unknown{{end}}" x="{{.X}}" y="{{.Y}}" width="{{.W}}" height="{{.H}}"/>{{if .Known}}<rect class="fill w{{.Level}}" x="{{.FillX}}" y="{{.Y}}" width="{{.FillW}}" height="{{.H}}"/>{{end}}{{if .First}}<rect class="first" x="{{.X}}" y="{{.Y}}" width="{{.W}}" height="{{.H}}"/>{{end}}{{end}}
{{range .Labels}}<text class="value{{if .First}} is-first{{end}}" x="{{.X}}" y="{{.Y}}" text-anchor="{{.Anchor}}">{{.Value}}</text><text class="ax" x="{{.X}}" y="{{.Y}}" dy="21" text-anchor="{{.Anchor}}">{{.Name}}</text>{{end}}
<text class="axle-name" x="180" y="{{.Y}}" dy="-29" text-anchor="middle">{{.Name}}</text>
</g>{{end}}`, axles, planAxles(axles)},
		{"picture", `<figure class="picture"><figcaption>{{.Title}}{{if .File}} <span class="files"><a href="{{.File}}.svg">SVG</a> <a href="{{.File}}.png">PNG</a></span>{{end}}</figcaption>
<div class="wide">`, chart, pictureHead(chart)},
		{"figures", `<details class="history"><summary>In figures</summary><div class="scroll" tabindex="0" role="group" aria-label="{{$.Title}}, in figures"><table><thead><tr>{{range .Figures.Head}}<th scope="col">{{.}}</th>{{end}}</tr></thead>
<tbody>{{range .Figures.Rows}}<tr>{{range .}}<td>{{.}}</td>{{end}}</tr>{{end}}</tbody></table></div></details>`, chart, pictureFigures(chart)},
		{"positions", `{{range .}}<tr role="row"{{if .Decides}} class="decides"{{end}}><th role="rowheader" scope="row">{{.Place}}{{if .Decides}} <small>first</small>{{end}}</th><td role="cell" class="n" data-label="{{unit}} now">{{.Thickness}}</td><td role="cell" class="n" data-label="limit">{{.Limit}}</td><td role="cell" class="n across" data-label="{{wear}}">{{.Rate}}</td><td role="cell" class="across" data-label="limit reached">{{.When}}</td><td role="cell" class="lane-cell across" data-label="within a year">{{with .Lane}}<svg width="100%" height="24" aria-hidden="true"><use href="#row-axis" width="100%" height="24"/>{{if .Lens}}<svg class="clip" width="100%" height="24"><svg x="{{.X}}" y="2" width="{{.W}}" height="20" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w{{.Level}}" vector-effect="non-scaling-stroke" d="{{.Path}}"/></svg>{{if .Median}}<line class="median w{{.Level}}" x1="{{.Median}}" x2="{{.Median}}" y1="3" y2="21"/>{{end}}</svg>{{end}}{{if .Past}}<path class="stop" d="M-2 3h5v18h-5z"/>{{end}}</svg>{{end}}</td><td role="cell" class="n" data-label="readings">{{.Readings}}</td><td role="cell"{{if .Since}} data-label="fitted"{{end}}>{{.Since}}</td></tr>{{end}}`, places, positionRows(tell, places)},
		{"visits", record + `{{range .}}<tr role="row"{{if .Fitted}} class="fitted"{{end}}><th role="rowheader" scope="row"><time datetime="{{iso .Date}}">{{day .Date}}</time></th><td role="cell" class="n"{{if .Km}} data-label="{{km}}"{{end}}>{{.Km}}</td>{{range $i, $c := .Cells}}<td role="cell" class="n"{{if .}} data-label="{{column $i}}"{{end}}>{{range .}}{{template "record" .}} {{end}}</td>{{end}}<td role="cell" class="across">{{range $i, $x := .Fitted}}{{if $i}}, {{end}}{{template "record" $x}}{{end}}{{range .Seen}} {{template "record" .}}{{end}}{{range $i, $n := .Notes}}{{if $i}};{{end}} {{$n}}{{end}}</td><td role="cell" class="across"{{if .Uploads}} data-label="upload"{{end}}>{{range .Uploads}}<a class="ref" href="/readings/{{.}}">{{.}}</a> {{end}}</td></tr>{{end}}`, visits, measuredRows(Shell{Tell: tell}, awkward, visits)},
		{"odometer", `{{range .}}<tr><th scope="row"><time datetime="{{iso .Date}}">{{day .Date}}</time></th><td class="n">{{if .Was}}<del class="was">{{end}}<a href="{{.Link}}">{{.Km}}</a>{{if .Was}}</del>{{end}}</td><td>{{.Note}}{{.Was}}</td><td>{{if .Upload}}<a class="ref" href="/readings/{{.Upload}}">{{.Upload}}</a>{{end}}</td></tr>{{end}}`, track, trackRows(Shell{Tell: tell}, track)},
		{"a record", record + `{{template "record" .}}`, records[1], records[1].HTML()},
	} {
		t.Run(c.name, func(t *testing.T) {
			var want strings.Builder
			if err := template.Must(template.New("").Funcs(template.FuncMap{"iso": fleet.Date.String, "day": tell.Day, "unit": tell.ThicknessUnit, "wear": tell.WearUnit, "km": tell.DistanceUnit, "column": func(i int) string { return awkward[i] }}).Parse(c.text)).Execute(&want, c.data); err != nil {
				t.Fatal(err)
			}
			if string(c.got) != want.String() {
				t.Errorf("got\n%q\nwant\n%q", c.got, want.String())
			}
		})
	}
}
