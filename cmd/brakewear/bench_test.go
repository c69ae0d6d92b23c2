package main

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/pipeline"
)

// TestBenchForecast: everything is timed for every model and compared with a
// reference of the same run. The times themselves are the machine's.
func TestBenchForecast(t *testing.T) {
	out, _, err := command(t, "bench", "forecast", "--vehicles", "40", "--format", "json")
	if err != nil {
		t.Fatal(err)
	}
	var rep benchReport
	if err := json.Unmarshal([]byte(out), &rep); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if rep.Vehicles != 40 || rep.Axles < 40 || rep.Readings < rep.Axles {
		t.Errorf("fleet of %d vehicles, %d axles, %d readings", rep.Vehicles, rep.Axles, rep.Readings)
	}
	var got []string
	micros := make(map[string]float64)
	for _, r := range rep.Results {
		key := r.What + " " + r.Model
		got, micros[key] = append(got, key), r.Micros
		if !(r.Micros > 0) || math.IsInf(r.Micros, 0) || r.Reference == "" || r.Allocs < 0 {
			t.Errorf("%s: %+v", key, r)
		}
	}
	want := []string{"rows -"}
	for _, m := range pipeline.ModelNames() {
		want = append(want, "forecast "+m, "update "+m)
		if m != "line" {
			want = append(want, "learn "+m)
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("timed %v, want %v", got, want)
	}
	for _, r := range rep.Results {
		ref := micros["rows -"]
		if r.Reference == byLine {
			ref = micros[r.What+" line"]
		}
		if math.Abs(r.Ratio-r.Micros/ref) > 1e-9*r.Ratio {
			t.Errorf("%s %s: ratio %g, want %g / %g", r.What, r.Model, r.Ratio, r.Micros, ref)
		}
	}
}

func TestBenchForecastTable(t *testing.T) {
	out, _, err := command(t, "bench", "forecast", "--vehicles", "30")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"30 invented vehicles", "microseconds", "full", byLine, byRows} {
		if !strings.Contains(out, want) {
			t.Errorf("got %s, want %q in it", out, want)
		}
	}
	if strings.Contains(out, "NaN") || strings.Contains(out, "Inf") {
		t.Errorf("no number in %s", out)
	}
	if _, _, err := command(t, "bench", "forecast", "--vehicles", "0"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("no vehicles: got %v, want a refusal", err)
	}
}
