package dashboard

import (
	"html/template"
	"strings"
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

// recordCells writes the cells of a row that show records, some of them several.
func recordCells(cells [][]Cell) template.HTML {
	var b strings.Builder
	for _, cell := range cells {
		b.WriteString(`<td class="n">`)
		for i := range cell {
			cell[i].write(&b)
			b.WriteByte(' ')
		}
		b.WriteString("</td>")
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
