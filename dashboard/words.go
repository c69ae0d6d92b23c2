package dashboard

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"brakewear/internal/fleet"

	"brakewear/internal/units"
)

// grouped is a number of 0 or more with its thousands set apart and the decimals it has.
func grouped(x float64) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	_, decimals, _ := strings.Cut(s, ".")
	if decimals != "" {
		decimals = "." + decimals
	}
	return units.Thousands(int64(x)) + decimals
}

// count is a number with its thousands apart.
func count(n int) string { return units.Thousands(int64(n)) }

// plural puts a number before the right form of a noun: 1 axle, 1,200 axles.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return count(n) + " " + many
}

// span puts a number of days into words, no finer than it matters.
func span(days float64) string { return spanBeside(days, days) }

// spanBeside is span in the unit that suits another number of days, which stands
// beside it: 17 weeks and 16 weeks, not 4 months and 16 weeks.
func spanBeside(days, other float64) string {
	switch {
	case !units.IsNumber(days):
		return "an unknown time"
	case other < 10:
		return plural(int(math.Round(days)), "day", "days")
	case other < 120:
		return plural(int(math.Round(days/7)), "week", "weeks")
	case other < 700:
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

// sentence is words with a full stop behind, where there are any.
func sentence(s string) string {
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

// kgWords is a mass with its unit: 19,500 kg.
func kgWords(x float64) string { return units.Thousands(int64(math.Round(x))) + "\u00a0kg" }

// tellAll is Text of several sentences.
func tellAll(tell units.Reader, ss []string, today fleet.Date) []string {
	var out []string
	for _, s := range ss {
		out = append(out, tell.Text(s, today))
	}
	return out
}

// alsoIn says a published value of x mm or km/h, whichever its unit is of, in the
// reader's unit; blank where it was published in that, or is of neither.
func alsoIn(tell units.Reader, part, unit string, x float64) string {
	switch unit {
	case "mm", "in":
		if unit == tell.ThicknessUnit() || !units.IsNumber(x) {
			return ""
		}
		if x < fineBelow {
			return tell.Fine(part, x) + "\u00a0" + tell.ThicknessUnit()
		}
		return tell.Exactly(part, x)
	case "km/h", "mph":
		if said := tell.Speed(x); !strings.HasSuffix(said, unit) && units.IsNumber(x) {
			return said
		}
	}
	return ""
}

// fineBelow is below what mm a published value is a difference or a runout.
const fineBelow = 1

// partIn is the part that words are about: of a pad or lining, or else of metal.
func partIn(words string) fleet.Part {
	switch {
	case strings.Contains(words, "pad"):
		return fleet.Pad
	case strings.Contains(words, "lining"):
		return fleet.Lining
	}
	return fleet.Rotor
}

// weekday is a day with its name: Monday 2 Mar 2026.
func weekday(tell units.Reader, d fleet.Date) string {
	return d.Time().Weekday().String() + " " + tell.Day(d)
}

// an puts the article before a kind of file, at the beginning of a sentence.
func an(kind string) string {
	if kind != "" && strings.ContainsRune("aeiou", rune(kind[0])) {
		return "An " + kind
	}
	return "A " + kind
}
