package chart

import "fmt"

// ink is a colour by what it means. It is a color.Color for gonum/plot.
type ink uint8

const (
	text  ink = iota // words, axes, what was measured
	soft             // what stands back
	rule             // grid
	wear             // the position that decides
	tint             // its 80 % interval
	plan             // what somebody decided: book-by
	sheet            // paper
)

// inks gives each its class in SVG and its colour on paper.
var inks = [...]struct {
	class   string
	r, g, b uint8
}{
	text:  {"text", 0x23, 0x21, 0x1d},
	soft:  {"soft", 0x6b, 0x65, 0x5b},
	rule:  {"rule", 0xd9, 0xd2, 0xc2},
	wear:  {"wear", 0xa4, 0x57, 0x2a},
	tint:  {"tint", 0xf0, 0xdc, 0xcb},
	plan:  {"plan", 0x2f, 0x55, 0x73},
	sheet: {"sheet", 0xfb, 0xf9, 0xf3},
}

// RGBA implements color.Color.
func (k ink) RGBA() (r, g, b, a uint32) {
	c := inks[k]
	return uint32(c.r) * 0x101, uint32(c.g) * 0x101, uint32(c.b) * 0x101, 0xffff
}

func (k ink) hex() string {
	c := inks[k]
	return fmt.Sprintf("#%02x%02x%02x", c.r, c.g, c.b)
}

// Classes lists the classes of all inks in SVG, for stroke and fill.
func Classes() []string {
	var cs []string
	for _, k := range inks {
		cs = append(cs, "s-"+k.class, "f-"+k.class)
	}
	return cs
}
