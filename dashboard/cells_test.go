package dashboard

import (
	"html/template"
	"strings"
	"testing"
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
	rows := [][]string{awkward, nil, {"one"}}
	for _, c := range []struct {
		name, text string
		data       any
		got        template.HTML
	}{
		{"text", `{{range .}}<tr>{{range .}}<td>{{.}}</td>{{end}}</tr>{{end}}`, rows, textRows(rows)},
		{"records", `{{define "record"}}{{if .Was}}<del class="was" title="{{.Was}}"><a href="{{.Link}}">{{.Text}}</a></del>{{else}}<a href="{{.Link}}">{{.Text}}</a>{{end}}{{end}}` +
			`{{range .}}<td class="n">{{range .}}{{template "record" .}} {{end}}</td>{{end}}`, cells, recordCells(cells)},
	} {
		t.Run(c.name, func(t *testing.T) {
			var want strings.Builder
			if err := template.Must(template.New("").Parse(c.text)).Execute(&want, c.data); err != nil {
				t.Fatal(err)
			}
			if string(c.got) != want.String() {
				t.Errorf("got\n%q\nwant\n%q", c.got, want.String())
			}
		})
	}
}
