package forecast

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"brakewear/internal/golden"
)

// TestModelCard works out the model card's scores on published measurements
// and wants them to stand there.
func TestModelCard(t *testing.T) {
	const (
		name = "../internal/guide/model-card.md"
		head = "| case | model | units | 80 % held | 95 % held | CRPS |\n| --- | --- | --- | --- | --- | --- |\n"
	)
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(b), head)
	if !found {
		t.Fatalf("%s has no table that begins\n%s", name, head)
	}
	end := 0
	for end < len(rest) && rest[end] == '|' {
		end += strings.IndexByte(rest[end:], '\n') + 1
	}
	after := rest[end:]

	var table strings.Builder
	for _, c := range []struct {
		name   string
		scores map[string]outsideScore
	}{
		{"lasers to 10 %, 2000 h known", laserScores(t, 10, 2000)},
		{"lasers to 10 %, 1000 h known", laserScores(t, 10, 1000)},
		{"lasers to 6 %, 2000 h known", laserScores(t, 6, 2000)},
		{"lasers to 6 %, 1000 h known", laserScores(t, 6, 1000)},
		{"belts, half known", beltScores(t)},
	} {
		for _, model := range outsideModels {
			s := c.scores[model]
			crps, _ := s.against(s)
			fmt.Fprintf(&table, "| %s | %s | %d | %d | %d | %.2f |\n", c.name, model, s.n, s.in80, s.in95, 100*crps)
		}
	}
	golden.Text(t, name, before+head+table.String()+after)
}
