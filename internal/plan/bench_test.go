package plan

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"
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

// BenchmarkRepair makes a plan of what many vehicles want at about half the prices
// that would keep them apart, and BenchmarkEnough solves with 3 seconds to do it in,
// about what a proposal that somebody waits for has.
func BenchmarkRepair(b *testing.B) {
	for _, jobs := range []int{10_000, 30_000} {
		b.Run(fmt.Sprint(jobs), func(b *testing.B) {
			in := compile(invented(1, jobs, 60, 20, .9))
			room := newRoom(in)
			up := newAscent(room, make([]float64, 2*len(in.cap)), 0)
			up.rise(never, 50, math.Inf(1))
			room.set(up.x)
			for b.Loop() {
				in.guided(&room.prices, func() bool { return true })
			}
		})
	}
}

func BenchmarkEnough(b *testing.B) {
	for _, jobs := range []int{10_000, 30_000} {
		b.Run(fmt.Sprint(jobs), func(b *testing.B) {
			p := invented(1, jobs, 60, 20, .9)
			gap := 0.
			for b.Loop() {
				enough := make(chan struct{})
				time.AfterFunc(3*time.Second, func() { close(enough) })
				got, err := Solve(context.Background(), p, Options{Enough: enough})
				if err != nil {
					b.Fatal(err)
				}
				gap = got.Gap
			}
			b.ReportMetric(100*gap, "gap-%")
		})
	}
}
