package demo

import (
	"testing"

	"brakewear/internal/fleet"
)

// until is the last day of the records in tests.
var until = fleet.NewDate(2026, 6, 30)

// BenchmarkGenerate makes one vehicle an operation, by one worker.
func BenchmarkGenerate(b *testing.B) {
	b.ReportAllocs()
	for range Generate(Options{Vehicles: b.N, Seed: 1, Until: until, Workers: 1}) {
	}
}

// BenchmarkWriteCSV writes one vehicle an operation.
func BenchmarkWriteCSV(b *testing.B) {
	b.ReportAllocs()
	if err := WriteCSV(b.TempDir(), Options{Vehicles: b.N, Seed: 1, Until: until}); err != nil {
		b.Fatal(err)
	}
}
