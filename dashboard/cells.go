package dashboard

import (
	"bytes"
	"html/template"
	"strconv"
	"strings"
	"sync"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// The tables of a vehicle's page have some two thousand cells. A template takes
// about a microsecond for each value it escapes, so their cells are written here;
// a test holds them to what html/template writes.

// markup escapes as html/template escapes text and quoted attributes.
var markup = strings.NewReplacer("\x00", "\uFFFD", `"`, "&#34;", "&", "&amp;", "'", "&#39;", "+", "&#43;", "<", "&lt;", ">", "&gt;")

// rows is a table that is being written.
type rows struct{ bytes.Buffer }

// allRows keeps what tables were written in: grown anew for each, it would be half
// of what a page allocates.
var allRows = sync.Pool{New: func() any { return new(rows) }}

func newRows() *rows {
	b := allRows.Get().(*rows)
	b.Reset()
	return b
}

// html ends the table.
func (b *rows) html() template.HTML {
	s := template.HTML(b.String())
	allRows.Put(b)
	return s
}

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

// number writes a number between pieces of markup.
func (b *rows) number(before string, x float64, after string) {
	var digits [24]byte
	b.WriteString(before)
	b.Write(strconv.AppendFloat(digits[:0], x, 'f', -1, 64))
	b.WriteString(after)
}

// planAxles draws the axles of a vehicle's plan.
func planAxles(axles []PlanAxle) template.HTML {
	b := newRows()
	for i := range axles {
		a := &axles[i]
		y := strconv.Itoa(a.Y)
		b.put("<g>\n" + `<line class="beam" x1="71" x2="289" y1="` + y + `" y2="` + y + "\"/>\n")
		for _, x := range a.Wheels {
			b.put(`<rect class="wheel" x="` + strconv.Itoa(x) + `" y="` + y + `" width="22" height="76" rx="7" transform="translate(0 -38)"/>`)
		}
		b.put("\n")
		for _, x := range []string{"102", "254"} {
			b.put(`<rect class="rotor" x="` + x + `" y="` + y + `" width="4" height="56" transform="translate(0 -28)"/>`)
		}
		b.put("\n")
		for k := range a.Boxes {
			b.box(&a.Boxes[k])
		}
		b.put("\n")
		for k := range a.Labels {
			b.label(&a.Labels[k])
		}
		b.put("\n"+`<text class="axle-name" x="180" y="`+y+`" dy="-29" text-anchor="middle">`, a.Name, "</text>\n</g>")
	}
	return b.html()
}

// box draws a part of a plan, and how much of it is left.
func (b *rows) box(p *PlanBox) {
	rect := func(class string, x, w float64) {
		b.number(`<rect class="`+class+`" x="`, x, `"`)
		b.number(` y="`, p.Y, `"`)
		b.number(` width="`, w, `"`)
		b.number(` height="`, p.H, `"/>`)
	}
	if !p.Known {
		rect("room unknown", p.X, p.W)
	} else {
		rect("room", p.X, p.W)
		rect("fill w"+strconv.Itoa(p.Level), p.FillX, p.FillW)
	}
	if p.First {
		rect("first", p.X, p.W)
	}
}

// label writes a value and its name beside a part of a plan.
func (b *rows) label(p *PlanLabel) {
	text := func(class, dy, words string) {
		b.number(`<text class="`+class+`" x="`, p.X, `"`)
		b.number(` y="`, p.Y, `"`)
		b.put(dy+` text-anchor="`, p.Anchor, `">`, words, `</text>`)
	}
	class := "value"
	if p.First {
		class = "value is-first"
	}
	text(class, "", p.Value)
	text("ax", ` dy="21"`, p.Name)
}

// pictureHead begins a picture, up to its chart for wide screens.
func pictureHead(p *Picture) template.HTML {
	b := newRows()
	b.put(`<figure class="picture"><figcaption>`, p.Title)
	if p.File != "" { // pictureFile's, so a path of this site
		b.put(` <span class="files"><a href="`, p.File, `.svg">SVG</a> <a href="`, p.File, `.png">PNG</a></span>`)
	}
	b.put("</figcaption>\n" + `<div class="wide">`)
	return b.html()
}

// pictureFigures writes what a picture draws as a table.
func pictureFigures(p *Picture) template.HTML {
	b := newRows()
	b.put(`<details class="history"><summary>In figures</summary><div class="scroll" tabindex="0" role="group" aria-label="`, p.Title, `, in figures"><table><thead><tr>`)
	for _, head := range p.Figures.Head {
		b.put(`<th scope="col">`, head, `</th>`)
	}
	b.put("</tr></thead>\n<tbody>")
	for _, row := range p.Figures.Rows {
		b.put("<tr>")
		for _, s := range row {
			b.put("<td>", s, "</td>")
		}
		b.put("</tr>")
	}
	b.put("</tbody></table></div></details>")
	return b.html()
}

// positionRows writes the forecasts of an axle's positions.
func positionRows(tell units.Reader, ps []PositionRow) template.HTML {
	b := newRows()
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
			b.lens("24", "2", "20", l)
			if l.Median != "" {
				b.median("3", "21", l)
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
	return b.html()
}

// measuredRows writes what was measured on an axle, visit by visit; the columns are
// those of the rows' cells. Only a cell with something in it has its name.
func measuredRows(page Shell, columns []string, rs []MeasuredRow) template.HTML {
	b := newRows()
	km := page.Tell.DistanceUnit()
	for i := range rs {
		r := &rs[i]
		b.put(`<tr role="row"`)
		if len(r.Fitted) > 0 {
			b.put(` class="fitted"`)
		}
		b.put(`><th role="rowheader" scope="row"><time datetime="`, r.Date.String(), `">`, page.Tell.Day(r.Date), `</time></th>`)
		b.named("n", km, r.Km != "")
		b.put("", r.Km, `</td>`)
		for k, cell := range r.Cells {
			b.named("n", columns[k], len(cell) > 0)
			for k := range cell {
				cell[k].write(b)
				b.put(" ")
			}
			b.put("</td>")
		}
		b.put(`<td role="cell" class="across">`)
		for k := range r.Fitted {
			if k > 0 {
				b.put(", ")
			}
			r.Fitted[k].write(b)
		}
		for k := range r.Seen {
			b.put(" ")
			r.Seen[k].write(b)
		}
		for k, note := range r.Notes {
			if k > 0 {
				b.put(";")
			}
			b.put(" ", note)
		}
		b.put("</td>")
		b.named("across", "upload", len(r.Uploads) > 0)
		for _, id := range r.Uploads {
			b.upload(page, id)
			b.put(" ")
		}
		b.put("</td></tr>")
	}
	return b.html()
}

// named begins a cell that says its column's name where it stands in a block.
func (b *rows) named(class, column string, filled bool) {
	b.put(`<td role="cell" class="` + class + `"`)
	if filled {
		b.put(` data-label="`, column, `"`)
	}
	b.put(">")
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
	b := newRows()
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
	return b.html()
}

// HTML is the record as a link to correct it.
func (c Cell) HTML() template.HTML {
	b := newRows()
	c.write(b)
	return b.html()
}

func (c *Cell) write(b *rows) {
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
