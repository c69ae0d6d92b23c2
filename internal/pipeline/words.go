package pipeline

import (
	"strconv"

	"brakewear/internal/fleet"
)

// longDay is a day as a sentence has it: 3 March 2026.
func longDay(d fleet.Date) string { return d.Time().Format("2 January 2006") }

func inKm(km float64) string { return kmText(km) + " km" }

func inMM(mm float64) string { return mmText(mm) + " mm" }

// days is a number of days in words.
func days(n int) string { return counted(n, "day") }

// counted is a number of things: 1 axle, 2 axles.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}
