package chart

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// canvas is a vg.Canvas that writes SVG. gonum's own writes style attributes,
// which a strict content security policy switches off, and fixed colours.
//
// gonum counts y upwards from the bottom. The canvas keeps the transform
// itself and writes final coordinates, y downwards, to a hundredth of a pixel.
type canvas struct {
	w, h  float64
	b     bytes.Buffer
	stack []state
}

type state struct {
	m     matrix
	ink   ink
	width float64
	dash  []vg.Length
}

// matrix maps (x, y) to (a x + c y + e, b x + d y + f).
type matrix struct{ a, b, c, d, e, f float64 }

func (m matrix) apply(p vg.Point) (x, y float64) {
	px, py := float64(p.X), float64(p.Y)
	return m.a*px + m.c*py + m.e, m.b*px + m.d*py + m.f
}

// then returns the map that does n first.
func (m matrix) then(n matrix) matrix {
	return matrix{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

func newCanvas(w, h float64) *canvas {
	c := &canvas{w: w, h: h}
	c.stack = []state{{m: matrix{a: 1, d: -1, f: h}}}
	vg.Initialize(c)
	return c
}

func (c *canvas) top() *state { return &c.stack[len(c.stack)-1] }

func (c *canvas) Size() (w, h vg.Length)                 { return vg.Length(c.w), vg.Length(c.h) }
func (c *canvas) SetLineWidth(w vg.Length)               { c.top().width = float64(w) }
func (c *canvas) SetLineDash(d []vg.Length, _ vg.Length) { c.top().dash = d }
func (c *canvas) Push()                                  { c.stack = append(c.stack, *c.top()) }
func (c *canvas) Pop()                                   { c.stack = c.stack[:len(c.stack)-1] }

func (c *canvas) SetColor(k color.Color) {
	c.top().ink = text
	if own, ok := k.(ink); ok {
		c.top().ink = own
	}
}

func (c *canvas) Rotate(rad float64) {
	s, o := math.Sincos(rad)
	c.top().m = c.top().m.then(matrix{a: o, b: s, c: -s, d: o})
}

func (c *canvas) Translate(p vg.Point) {
	c.top().m = c.top().m.then(matrix{a: 1, d: 1, e: float64(p.X), f: float64(p.Y)})
}

func (c *canvas) Scale(x, y float64) { c.top().m = c.top().m.then(matrix{a: x, d: y}) }

func (c *canvas) Stroke(p vg.Path) {
	s := c.top()
	if s.width <= 0 || len(p) == 0 {
		return
	}
	fmt.Fprintf(&c.b, `<path class="s-%s" fill="none" stroke="%s" stroke-width="%s"`, inks[s.ink].class, s.ink.hex(), num(s.width))
	if len(s.dash) > 0 {
		c.b.WriteString(` stroke-dasharray="`)
		for i, d := range s.dash {
			if i > 0 {
				c.b.WriteByte(' ')
			}
			c.b.WriteString(num(float64(d)))
		}
		c.b.WriteByte('"')
	}
	c.b.WriteString(` d="`)
	c.path(p)
	c.b.WriteString("\"/>\n")
}

func (c *canvas) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	k := c.top().ink
	fmt.Fprintf(&c.b, `<path class="f-%s" fill="%s" d="`, inks[k].class, k.hex())
	c.path(p)
	c.b.WriteString("\"/>\n")
}

func (c *canvas) path(p vg.Path) {
	at := func(op string, ps ...vg.Point) {
		c.b.WriteString(op)
		for i, p := range ps {
			x, y := c.top().m.apply(p)
			if i > 0 {
				c.b.WriteByte(' ')
			}
			c.b.WriteString(num(x))
			c.b.WriteByte(' ')
			c.b.WriteString(num(y))
		}
	}
	for _, comp := range p {
		switch comp.Type {
		case vg.MoveComp:
			at("M", comp.Pos)
		case vg.LineComp:
			at("L", comp.Pos)
		case vg.CurveComp:
			op := "Q"
			if len(comp.Control) == 2 {
				op = "C"
			}
			at(op, append(comp.Control[:len(comp.Control):len(comp.Control)], comp.Pos)...)
		case vg.ArcComp:
			c.arc(comp, at)
		case vg.CloseComp:
			c.b.WriteByte('Z')
		}
	}
}

// arc writes an arc in two halves, for SVG cannot tell a full circle from
// none.
func (c *canvas) arc(comp vg.PathComp, at func(string, ...vg.Point)) {
	on := func(angle float64) vg.Point {
		s, o := math.Sincos(angle)
		return vg.Point{X: comp.Pos.X + comp.Radius*vg.Length(o), Y: comp.Pos.Y + comp.Radius*vg.Length(s)}
	}
	m := c.top().m
	det := m.a*m.d - m.b*m.c
	r := num(float64(comp.Radius) * math.Sqrt(math.Abs(det)))
	sweep := "0"
	if (comp.Angle > 0) == (det > 0) {
		sweep = "1"
	}
	at("L", on(comp.Start))
	for _, share := range []float64{.5, 1} {
		at("A"+r+" "+r+" 0 0 "+sweep+" ", on(comp.Start+share*comp.Angle))
	}
}

func (c *canvas) FillString(f font.Face, p vg.Point, s string) {
	st := c.top()
	x, y := st.m.apply(p)
	// textLength holds the words to the width they were placed by, whatever
	// font the reader has.
	fmt.Fprintf(&c.b, `<text class="f-%s" fill="%s" font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs" x="%s" y="%s"`,
		inks[st.ink].class, st.ink.hex(), num(float64(f.Font.Size)), num(float64(f.Width(s))), num(x), num(y))
	// The text itself is not mirrored by the flip of y, only turned.
	if turn := math.Atan2(st.m.b, st.m.a) * 180 / math.Pi; math.Abs(turn) > 1e-9 {
		fmt.Fprintf(&c.b, ` transform="rotate(%s %s %s)"`, num(turn), num(x), num(y))
	}
	fmt.Fprintf(&c.b, ">%s</text>\n", html.EscapeString(s))
}

// DrawImage draws nothing: no chart of ours has a picture in it.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

// num prints a coordinate to a hundredth of a pixel.
func num(x float64) string {
	x = math.Round(x*100) / 100
	if x == 0 {
		return "0" // and not -0
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// document returns the whole picture with its description.
func (c *canvas) document(alt string) []byte {
	var b bytes.Buffer
	// The measures of Arial are those of the font that gonum lays out with.
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 %s %s" width="%s" height="%s" font-family="Arial, Liberation Sans, Helvetica, sans-serif" role="img" aria-label="%s">`+"\n",
		num(c.w), num(c.h), num(c.w), num(c.h), html.EscapeString(alt))
	b.Write(c.b.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}
