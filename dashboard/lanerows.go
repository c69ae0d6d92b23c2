package dashboard

import (
	"html/template"
	"strconv"
	"strings"
)

// The due-soon list has some two thousand values on a page: its rows are written
// without a template, as tables are in cells.go.

// laneForm is one of the sizes in which lanes are drawn.
type laneForm struct {
	axis, height          string // its symbol
	lensTop, lensHeight   string
	medianTop, medianFoot string // blank = none is drawn
	stop, notch, peg      string // paths
	off                   bool   // says what lies beyond its axis
}

var (
	fullLane = laneForm{
		axis: "axis", height: "44", lensTop: "2", lensHeight: "40", medianTop: "6", medianFoot: "38",
		stop: "M-4 6h8v32h-8z", notch: "M0 21l-6-12h12z", peg: "M0 42V17m0 0a4 4 0 1 0-.01 0",
		off: true,
	}
	closeLane = laneForm{
		axis: "close-axis", height: "26", lensTop: "2", lensHeight: "22", medianTop: "4", medianFoot: "22",
		stop: "M-3 3h6v20h-6z", notch: "M0 12l-4-8h8z", peg: "M0 25V10m0 0a3 3 0 1 0-.01 0",
	}
	smallLane = laneForm{
		axis: "small-axis", height: "28", lensTop: "3", lensHeight: "22",
		stop: "M-3 4h6v20h-6z", notch: "M0 13l-4-8h8z", peg: "M0 27V11m0 0a3 3 0 1 0-.01 0",
	}
)

// lane draws a lane.
func (b *rows) lane(f *laneForm, l *Lane) {
	b.put(`<svg width="100%" height="`, f.height, `" role="img"><title>`, l.Say, `</title><use href="#`, f.axis, `" width="100%" height="`, f.height, `"/>`)
	if l.Lens {
		b.lens(f.height, f.lensTop, f.lensHeight, l)
		if f.medianTop != "" && l.Median != "" {
			b.median(f.medianTop, f.medianFoot, l)
		}
		b.WriteString(`</svg>`)
	}
	if f.off {
		b.off(l)
	}
	switch {
	case l.Past:
		b.put(`<path class="stop" d="`, f.stop, `"/>`)
	case l.Notch != "":
		b.put(`<svg x="`, l.Notch, `" class="free"><path class="notch" d="`, f.notch, `"/></svg>`)
	}
	if l.Peg != "" {
		b.put(`<svg x="`, l.Peg, `" class="free"><path class="peg" d="`, f.peg, `"/></svg>`)
	}
	b.WriteString(`</svg>`)
}

// lens begins the drawing of a lens.
func (b *rows) lens(height, top, lensHeight string, l *Lane) {
	b.put(`<svg class="clip" width="100%" height="`, height, `"><svg x="`, l.X, `" y="`, top, `" width="`, l.W, `" height="`, lensHeight,
		`" viewBox="0 0 100 40" preserveAspectRatio="none"><path class="lens w`, strconv.Itoa(l.Level), `" vector-effect="non-scaling-stroke" d="`, l.Path, `"/></svg>`)
}

// median draws where the even odds are.
func (b *rows) median(top, foot string, l *Lane) {
	b.put(`<line class="median w`, strconv.Itoa(l.Level), `" x1="`, l.Median, `" x2="`, l.Median, `" y1="`, top, `" y2="`, foot, `"/>`)
}

// off says what lies beyond the axis.
func (b *rows) off(l *Lane) {
	switch l.Off {
	case "":
	case passed:
		x := "12"
		if l.Lens {
			x = "0"
		}
		b.put(`<text class="ax" x="`, x, `" y="16">`, l.Off, `</text>`)
	default:
		x := "100%"
		if l.Lens {
			x = "0"
		}
		b.put(`<text class="ax" x="`, x, `" y="16" text-anchor="end">`, l.Off, ` →</text>`)
	}
}

// verdict writes what to do, but why, in an element of the page's choice.
func (b *rows) verdict(element string, v *Verdict) {
	urgent := ""
	if v.Urgent {
		urgent = " urgent"
	}
	b.put(`<`, element, ` class="verdict`, urgent, `"><small>`, v.Ask, `</small> <strong>`)
	if v.ISO != "" {
		b.put(`<time datetime="`, v.ISO, `">`, v.Strong, `</time>`)
	} else {
		b.put("", v.Strong)
	}
	b.WriteString(`</strong>`)
}

// begin begins a row of the due-soon list.
func (r *DueRow) begin(b *rows) {
	class := ""
	if r.Verdict.Urgent {
		class = " urgent"
	} else if r.Lane.Late {
		class = " late"
	}
	b.put(`<li class="row`, class, "\">\n")
}

// ticks draws places of an axis as lines.
func ticks(class, top, foot string, ts []Tick) template.HTML {
	b := newRows()
	for i := range ts {
		b.put(`<line class="`, class, `" x1="`, ts[i].X, `" x2="`, ts[i].X, `" y1="`, top, `" y2="`, foot, `"/>`)
	}
	return b.html()
}

// fullLines writes rows of the due-soon list, with all that is known of each axle.
func fullLines(rs []DueRow) template.HTML {
	b := newRows()
	for i := range rs {
		rs[i].full(b)
	}
	return b.html()
}

// closeLines writes rows of the due-soon list in a line each.
func closeLines(rs []DueRow) template.HTML {
	b := newRows()
	for i := range rs {
		rs[i].close(b)
	}
	return b.html()
}

func (r *DueRow) full(b *rows) {
	r.begin(b)
	b.put(`<div class="who"><a href="`, r.Link, `">`, r.Vehicle, `</a> `)
	if r.Plate != "" {
		b.put(`<span class="plate">`, r.Plate, `</span>`)
	}
	b.put(` <small class="depot">`, r.Depot, "</small></div>\n"+`<div class="what">`+"\n"+`<span class="place"><small>Axle `, strconv.Itoa(r.Axle), `</small> `, r.Place,
		"</span>\n"+`<span class="num">`, r.Thickness, `<small> `, r.Unit, "</small></span>\n"+`<svg class="gauge" width="100%" height="8" aria-hidden="true"><rect class="gauge-room" width="100%" height="8"/>`)
	if r.Left != "" {
		b.put(`<rect class="gauge-left w`, strconv.Itoa(r.Lane.Level), `" width="`, r.Left, `" height="8"/>`)
	}
	b.put("</svg>\n"+`<small class="facts">limit `, r.Limit, ` · `, r.KmLeft, ` · `, plural(r.Readings, "reading", "readings"), "</small>\n</div>\n"+`<div class="lane">`)
	b.lane(&fullLane, &r.Lane)
	b.WriteString("</div>\n" + `<div class="to-do">`)
	b.verdict("div", &r.Verdict)
	b.WriteString(`</div>`)
	if x := r.Booked; x != nil {
		b.put(`<a class="peg-link" href="`, x.Link, `">`, x.Words, `</a>`)
	}
	b.put("</div>\n"+`<small class="why">`, capital(r.Verdict.Why))
	if r.Worth != "" || r.Wait != "" {
		b.WriteString(".")
	}
	if r.Worth != "" {
		b.put(` <span class="worth">`, r.Worth, `</span>`)
	}
	if r.Wait != "" {
		b.put(" ", r.Wait)
	}
	b.WriteString("</small>\n")
	b.list("warnings", r.Warnings)
	b.WriteString("\n</li>\n")
}

func (r *DueRow) close(b *rows) {
	r.begin(b)
	between := ""
	if r.Plate != "" && r.Depot != "" {
		between = ", "
	}
	b.put(`<div class="who"><a href="`, r.Link, `" title="`, r.Plate, between, r.Depot, `">`, r.Vehicle, `</a>`)
	if r.Of != "" {
		b.put(` <small>`, r.Of, `</small>`)
	}
	b.put("</div>\n"+
		`<div class="what"><span class="place"><small>Axle `, strconv.Itoa(r.Axle), `</small> `, r.Place, `</span> <span class="num">`, r.Thickness, `<small> / `, r.Limit, "</small></span></div>\n"+
		`<div class="lane">`)
	b.lane(&closeLane, &r.Lane)
	b.put("</div>\n"+`<small class="limits">`, r.Limits, "</small>\n"+`<div class="to-do">`)
	b.verdict("span", &r.Verdict)
	b.WriteString(`</span>`)
	if x := r.Booked; x != nil {
		b.put(` <a class="peg-link" href="`, x.Link, `" title="`, x.Words, `"><span>`, x.Words, `</span></a>`)
	}
	if len(r.Warnings) > 0 {
		all := strings.Join(r.Warnings, ". ")
		b.put(` <span class="more" title="`, all, `">▸<span>`, all, `. </span></span>`)
	}
	b.WriteString("</div>\n</li>\n")
}

// smallLaneOf draws the lane of an axle in small.
func smallLaneOf(l PlanLane) template.HTML {
	b := newRows()
	b.small(&l)
	return b.html()
}

func (b *rows) small(l *PlanLane) {
	b.put(`<div class="small-lane"><small>`, strconv.Itoa(l.Axle), `</small>`)
	b.lane(&smallLane, &l.Lane)
	b.WriteString(`</div>`)
}

// verdictHTML writes what to do with an axle, and why.
func verdictHTML(v Verdict) template.HTML {
	b := newRows()
	b.why(&v)
	return b.html()
}

func (b *rows) why(v *Verdict) {
	b.verdict("div", v)
	b.put(` <small class="why">`, v.Why, `</small></div>`)
}
