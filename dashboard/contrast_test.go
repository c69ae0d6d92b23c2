package dashboard

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
)

// TestContrast computes the contrast of the inks in both themes and in print,
// by the relative luminance of WCAG 2.2 (definitions, "contrast ratio"): 4.5 for
// text (success criterion 1.4.3), 3 for what is drawn and for the edges of
// controls (1.4.11).
func TestContrast(t *testing.T) {
	css, err := staticFiles.ReadFile("static/app.css")
	if err != nil {
		t.Fatal(err)
	}
	roots := regexp.MustCompile(`(?s):root \{(.*?)\n *\}`).FindAllStringSubmatch(string(css), -1)
	if len(roots) != 3 {
		t.Fatalf("%d sets of inks, want light, dark and print", len(roots))
	}
	const text, drawn = 4.5, 3
	for i, theme := range []string{"light", "dark", "print"} {
		inks := inksOf(roots[0][1])
		for name, value := range inksOf(roots[i][1]) {
			inks[name] = value
		}
		for _, c := range []struct {
			on, ink string
			least   float64
		}{
			{"paper", "ink", text}, {"paper", "soft", text}, {"paper", "plan", text}, {"paper", "wear", text},
			{"sheet", "ink", text}, {"sheet", "soft", text}, {"sheet", "plan", text}, {"sheet", "wear", text},
			{"plan-tint", "ink", text}, {"plan-tint", "plan", text}, {"plan-tint", "soft", text},
			{"wear-tint", "ink", text}, {"plan", "plan-ink", text},
			{"paper", "edge", drawn}, {"sheet", "edge", drawn}, // the frame of a field, the base line of a lane
			{"w1", "ink", drawn}, {"w2", "ink", drawn}, {"w3", "ink", drawn}, // the line of even odds in a lens
			{"w4", "sheet", drawn}, {"w5", "sheet", drawn},
		} {
			a, b := inks[c.on], inks[c.ink]
			if a == "" || b == "" {
				t.Errorf("%s: no ink %q or %q", theme, c.on, c.ink)
				continue
			}
			if got := contrast(t, a, b); got < c.least {
				t.Errorf("%s: %s on %s: got a contrast of %.2f, want %g", theme, c.ink, c.on, got, c.least)
			}
		}
	}
}

func inksOf(block string) map[string]string {
	inks := map[string]string{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+): (#[0-9a-f]+);`).FindAllStringSubmatch(block, -1) {
		inks[m[1]] = m[2]
	}
	return inks
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (math.Max(x, y) + .05) / (math.Min(x, y) + .05)
}

// luminance is WCAG 2.2's relative luminance of #rgb or #rrggbb.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	h := strings.TrimPrefix(hex, "#")
	if len(h) == 3 {
		h = string([]byte{h[0], h[0], h[1], h[1], h[2], h[2]})
	}
	var rgb [3]uint8
	if _, err := fmt.Sscanf(h, "%02x%02x%02x", &rgb[0], &rgb[1], &rgb[2]); err != nil {
		t.Fatalf("%q: %v", hex, err)
	}
	sum := 0.
	for i, share := range []float64{.2126, .7152, .0722} {
		v := float64(rgb[i]) / 255
		if v <= .04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+.055)/1.055, 2.4)
		}
		sum += share * v
	}
	return sum
}

// TestContrastRatio compares with what WCAG 2.2 states: black on white is 21.
// #767676 on white, 4.54, is the common example of the lightest grey that
// passes (from memory).
func TestContrastRatio(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000", "#ffffff", 21}, {"#fff", "#fff", 1}, {"#767676", "#ffffff", 4.54}} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > .005 {
			t.Errorf("%s on %s: got %.3f, want %g", c.a, c.b, got, c.want)
		}
	}
}
