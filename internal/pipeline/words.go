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
func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.Itoa(n) + " days"
}
