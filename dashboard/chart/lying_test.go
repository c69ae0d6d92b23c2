package chart

import (
	"strings"
	"testing"
)

// Bars that lie say their names and sums, in the picture and in words; more than
// there is room for are cut off in both. The depots are invented.
func TestLying(t *testing.T) {
	names := []string{"Harbour", "Hill"}
	c := Lying("Limits by depot", "axles", names, []Layer{{"booked", []float64{1.5, 0}}, {"not booked", []float64{2, 12}}})
	if want := "Limits by depot, axles: Harbour 3.5 (booked 1.5, not booked 2.0); Hill 12 (booked 0, not booked 12)."; c.Alt != want {
		t.Errorf("got %q, want %q", c.Alt, want)
	}
	svg := string(c.SVG(WideWidth, WideHeight))
	for _, want := range []string{">Harbour 3.5<", ">Hill 12<", ">booked<", ">not booked<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture lacks %s", want)
		}
	}
	if c := Lying("Limits", "axles", names, []Layer{{"booked", []float64{0, 0}}}); c != nil {
		t.Errorf("of nothing: got %s", c.Alt)
	}
	var many []string
	for i := range maxRanges + 1 {
		many = append(many, string(rune('A'+i)))
	}
	c = Lying("Limits", "axles", many, []Layer{{"booked", []float64{1, 1, 1, 1, 1, 1, 1, 9}}})
	if strings.Contains(c.Alt, "H 9") || !strings.Contains(c.Alt, "G 1.0") {
		t.Errorf("got %s", c.Alt)
	}
}
