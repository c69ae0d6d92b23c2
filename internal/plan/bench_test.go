package plan

import (
	"context"
	"fmt"
	"testing"
)

// BenchmarkSolve plans 1,000 invented jobs on 60 days in 5 shops. The metric
// "gap-%" is the most that the plan can be from the best; load is the work over
// the hours there are.
func BenchmarkSolve(b *testing.B) {
	for _, load := range []float64{.5, .7, .9} {
		b.Run(fmt.Sprintf("load=%g", load), func(b *testing.B) {
			p := invented(1, 1000, 60, 5, load)
			gap := 0.
			for b.Loop() {
				got, err := Solve(context.Background(), p, Options{})
				if err != nil {
					b.Fatal(err)
				}
				gap = got.Gap
			}
			b.ReportMetric(100*gap, "gap-%")
		})
	}
}
