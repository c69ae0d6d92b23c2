package dashboard

import (
	"html/template"
	"strconv"
)

// The words of a vehicle's axles are written without a template, as its tables are in
// cells.go: some twenty values each, of which a template makes as many calls.

// list writes texts as a list, if there are any.
func (b *rows) list(class string, texts []string) {
	if len(texts) == 0 {
		return
	}
	b.put(`<ul class="`, class, `">`)
	for _, s := range texts {
		b.put(`<li>`, s, `</li>`)
	}
	b.WriteString(`</ul>`)
}

// summaryRows writes a line for each axle: what will be first there, and what to do.
func summaryRows(axles []AxleView) template.HTML {
	b := newRows()
	for i := range axles {
		v := &axles[i]
		n := strconv.Itoa(v.Number)
		b.put(`<li><a href="#axle-`, n, `"><small>Axle `, n, `</small> `, v.Title, `</a><div class="to-do">`)
		b.why(&v.Verdict)
		if x := v.Booked; x != nil {
			b.put(`<a class="peg-link" href="`, x.Link, `">`, x.Words, `</a>`)
		}
		b.WriteString(`</div>`)
		if v.Lane != nil {
			b.small(v.Lane)
		}
		b.WriteString("</li>\n")
	}
	return b.html()
}

// axleWords writes the forecast of an axle in words, and what it rests on.
func axleWords(v *AxleView) template.HTML {
	b := newRows()
	b.WriteString("<div class=\"axle-words\">\n<div>\n")
	b.why(&v.Verdict)
	b.WriteString("\n")
	for _, s := range v.Says {
		b.put(`<p>`, s, `</p>`)
	}
	b.WriteString("\n")
	b.list("warnings", v.Warnings)
	b.WriteString("\n")
	if m := v.Moved; m != nil {
		b.put(`<div class="moved"><h3>Since the forecast of `, m.Since, `</h3><p>`, m.Says, `</p>`)
		b.list("basis", m.Why)
		b.WriteString(`</div>`)
	}
	b.WriteString("\n</div>\n")
	if len(v.Basis) > 0 {
		b.WriteString(`<div><h3>What this rests on</h3>`)
		b.list("basis", v.Basis)
		b.WriteString(`<p><a href="/help#trust">When not to trust a forecast</a> · <a href="/learned">What the fleet has taught</a></p></div>`)
	}
	b.WriteString("\n</div>")
	return b.html()
}
