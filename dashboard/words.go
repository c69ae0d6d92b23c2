package dashboard

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"brakewear/internal/fleet"
)

// longDate is a day with its year: 20 Mar 2026.
func longDate(d fleet.Date) string { return d.Time().Format("2 Jan 2006") }

// How near to today a day is understood without its year: plans look ahead,
// so a bare day of autumn is read as the coming one.
const (
	yearlessAhead = 270 // days
	yearlessBack  = 60
)

// dateNear leaves the year out where nobody would read another.
func dateNear(d, today fleet.Date) string {
	if d-today < yearlessAhead && today-d < yearlessBack {
		return d.Time().Format("2 Jan")
	}
	return longDate(d)
}

// mm is a thickness as it is read off a gauge.
func mm(x float64) string {
	if !isNumber(x) {
		return "–"
	}
	return strconv.FormatFloat(x, 'f', 1, 64)
}

// spec is a value of a specification, as exact as it was given.
func spec(x float64) string {
	if !isNumber(x) {
		return "–"
	}
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// kmWords is a distance in km with its thousands apart: 25,200.
func kmWords(x float64) string {
	if !isNumber(x) {
		return "–"
	}
	return thousands(int64(math.Round(x)))
}

// kmAbout is a forecast distance, no more exact than it can be: two digits.
func kmAbout(x float64) string {
	if !isNumber(x) {
		return "–"
	}
	unit := math.Max(10, math.Pow(10, math.Floor(math.Log10(math.Max(1, math.Abs(x))))-1))
	return thousands(int64(math.Round(x/unit) * unit))
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// grouped is a number of 0 or more with its thousands set apart and the decimals it has.
func grouped(x float64) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	_, decimals, _ := strings.Cut(s, ".")
	if decimals != "" {
		decimals = "." + decimals
	}
	return thousands(int64(x)) + decimals
}

func thousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, s = "−", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return sign + s
}

// count is a number with its thousands apart.
func count(n int) string { return thousands(int64(n)) }

// plural puts a number before the right form of a noun: 1 axle, 1,200 axles.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return count(n) + " " + many
}

// span puts a number of days into words, no finer than it matters.
func span(days float64) string {
	switch {
	case !isNumber(days):
		return "an unknown time"
	case days < 10:
		return plural(int(math.Round(days)), "day", "days")
	case days < 120:
		return plural(int(math.Round(days/7)), "week", "weeks")
	case days < 700:
		return plural(int(math.Round(days/30.44)), "month", "months")
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", days/365.25), ".0") + " years"
}

// percent is a probability in words; its sign stays on the number's line.
func percent(p float64) string {
	return strconv.FormatFloat(math.Round(1000*p)/10, 'f', -1, 64) + "\u00a0%"
}

// capital starts a sentence.
func capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + s[size:]
}
