package dashboard

import (
	"html/template"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// The tables of a vehicle's page have some two thousand cells. A template takes
// about a microsecond for each value it escapes, so their cells are written here;
// a test holds them to what html/template writes.

// markup escapes as html/template escapes text and quoted attributes.
var markup = strings.NewReplacer("\x00", "\uFFFD", `"`, "&#34;", "&", "&amp;", "'", "&#39;", "+", "&#43;", "<", "&lt;", ">", "&gt;")

// textRows writes rows of a table that hold text alone.
func textRows(rows [][]string) template.HTML {
	var b strings.Builder
	for _, row := range rows {
		b.WriteString("<tr>")
		for _, s := range row {
			b.WriteString("<td>")
			markup.WriteString(&b, s)
			b.WriteString("</td>")
		}
		b.WriteString("</tr>")
	}
	return template.HTML(b.String())
}

// rows is a table that is being written.
type rows struct{ strings.Builder }

// put writes pieces of markup and text by turns, markup first.
func (b *rows) put(pieces ...string) {
	for i, s := range pieces {
		if i%2 == 0 {
			b.WriteString(s)
		} else {
			markup.WriteString(b, s)
		}
	}
}

// day begins a row with its day.
func (b *rows) day(tell units.Reader, d fleet.Date) {
	b.put(`<th scope="row"><time datetime="`, d.String(), `">`, tell.Day(d), `</time></th>`)
}

// positionRows writes the forecasts of an axle's positions.
func positionRows(tell units.Reader, ps []PositionRow) template.HTML {
	var b rows
	unit, wear := tell.ThicknessUnit(), tell.WearUnit()
	for i := range ps {
		p := &ps[i]
		first, small := "", ""
		if p.Decides {
			first, small = ` class="decides"`, ` <small>first</small>`
		}
		b.put(`<tr role="row"`+first+`><th role="rowheader" scope="row">`, p.Place,
			small+`</th><td role="cell" class="n" data-label="`, unit, ` now">`, p.Thickness,
			`</td><td role="cell" class="n" data-label="limit">`, p.Limit,
			`</td><td role="cell" class="n across" data-label="`, wear, `">`, p.Rate,
			`</td><td role="cell" class="across" data-label="limit reached">`, p.When,
			`</td><td role="cell" class="lane-cell across" data-label="within a year"><svg width="100%" height="24" aria-hidden="true"><use href="#row-axis" width="100%" height="24"/>`)
		if l := &p.Lane; l.Lens {
			level := strconv.Itoa(l.Level)
			b.put(`<svg class="clip" width="100%" height="24"><svg x="`, l.X, `" y="2" width="`, l.W,
				`" height="20" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w`+level+`" vector-effect="non-scaling-stroke" d="`, l.Path, `"/></svg>`)
			if l.Median != "" {
				b.put(`<line class="median w`+level+`" x1="`, l.Median, `" x2="`, l.Median, `" y1="3" y2="21"/>`)
			}
			b.put(`</svg>`)
		}
		if p.Lane.Past {
			b.put(`<path class="stop" d="M-2 3h5v18h-5z"/>`)
		}
		since := `</td><td role="cell">`
		if p.Since != "" {
			since = `</td><td role="cell" data-label="fitted">`
		}
		b.put(`</svg></td><td role="cell" class="n" data-label="readings">`+strconv.Itoa(p.Readings)+since, p.Since, `</td></tr>`)
	}
	return template.HTML(b.String())
}

// measuredRows writes what was measured on an axle, visit by visit.
func measuredRows(page Shell, rs []MeasuredRow) template.HTML {
	var b rows
	for i := range rs {
		r := &rs[i]
		b.put("<tr")
		if len(r.Fitted) > 0 {
			b.put(` class="fitted"`)
		}
		b.put(">")
		b.day(page.Tell, r.Date)
		b.put(`<td class="n">`, r.Km, `</td>`)
		for _, cell := range r.Cells {
			b.put(`<td class="n">`)
			for k := range cell {
				cell[k].write(&b.Builder)
				b.put(" ")
			}
			b.put("</td>")
		}
		b.put("<td>")
		for k := range r.Fitted {
			if k > 0 {
				b.put(", ")
			}
			r.Fitted[k].write(&b.Builder)
		}
		for k := range r.Seen {
			b.put(" ")
			r.Seen[k].write(&b.Builder)
		}
		for k, note := range r.Notes {
			if k > 0 {
				b.put(";")
			}
			b.put(" ", note)
		}
		b.put("</td><td>")
		for _, id := range r.Uploads {
			b.upload(page, id)
			b.put(" ")
		}
		b.put("</td></tr>")
	}
	return template.HTML(b.String())
}

// upload links to the upload that a row came with.
func (b *rows) upload(page Shell, id int64) {
	n := strconv.FormatInt(id, 10)
	if !page.OpensUpload(id) {
		b.put(`<span class="ref">` + n + `</span>`)
		return
	}
	b.put(`<a class="ref" href="/readings/` + n + `">` + n + `</a>`)
}

// trackRows writes the readings of an odometer.
func trackRows(page Shell, rs []OdometerRow) template.HTML {
	var b rows
	for i := range rs {
		r := &rs[i]
		was, end := "", ""
		if r.Was != "" {
			was, end = `<del class="was">`, "</del>"
		}
		b.put("<tr>")
		b.day(page.Tell, r.Date)
		b.put(`<td class="n">`+was+`<a href="`, r.Link, `">`, r.Km, "</a>"+end+"</td><td>", r.Note, "", r.Was, "</td><td>")
		if r.Upload != 0 {
			b.upload(page, r.Upload)
		}
		b.put("</td></tr>")
	}
	return template.HTML(b.String())
}

// HTML is the record as a link to correct it.
func (c Cell) HTML() template.HTML {
	var b strings.Builder
	c.write(&b)
	return template.HTML(b.String())
}

func (c *Cell) write(b *strings.Builder) {
	if c.Was != "" {
		b.WriteString(`<del class="was" title="`)
		markup.WriteString(b, c.Was)
		b.WriteString(`">`)
	}
	b.WriteString(`<a href="`)
	markup.WriteString(b, c.Link) // correctionPath's, so a path of this site
	b.WriteString(`">`)
	markup.WriteString(b, c.Text)
	b.WriteString("</a>")
	if c.Was != "" {
		b.WriteString("</del>")
	}
}
