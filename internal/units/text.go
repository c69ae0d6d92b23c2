package units

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Sentences that are kept were written when they were found, in mm, km and days
// such as 2 Mar 2026.
var (
	quantity = regexp.MustCompile(`(?:(\d[\d,]*(?:\.\d+)?) to )?(\d[\d,]*(?:\.\d+)?) (mm|km)( per 10,000 km)?\b(/?)`)
	written  = regexp.MustCompile(`\b(\d{1,2}) ([JFMASOND][a-z]{2,8})\b(?: (\d{4})\b)?`)
	metal    = regexp.MustCompile(`(?i)\b(rotor|drum|runout|variation|diameter)`)
	// quoted takes what is quoted first, so that no day in it is found.
	quoted = regexp.MustCompile(`“[^”\n]*”|"(?:[^"\\\n]|\\.)*"|` + written.String())
)

// Text says a sentence that the program wrote, and kept in mm, km and English
// days, as the reader wants it; today tells which year a day without one is of.
// What people wrote is theirs, and is not for this.
func (r Reader) Text(s string, today date) string {
	part := "pad"
	if r.converts() && metal.MatchString(s) {
		part = "rotor"
	}
	return r.TextOf(part, s, today)
}

// converts says whether quantities are to be said otherwise than they are kept.
func (r Reader) converts() bool { return r.DistanceIn == Miles || r.ThicknessIn == Inches }

// TextOf is Text of a sentence about a part that it need not name. The form's
// script does the same with its remarks: a change here is one there.
func (r Reader) TextOf(part, s string, today date) string {
	if r.converts() {
		s = quantity.ReplaceAllStringFunc(s, func(q string) string { return r.converted(q, part) })
	}
	if forms[r.DaysAs].long != "" && r.DaysAs != DayMonth {
		s = written.ReplaceAllStringFunc(s, func(d string) string { return r.dated(d, today) })
	}
	return s
}

// hair is below what mm a thickness is a spread or a runout, told more finely.
const hair = .5

func (r Reader) converted(q, part string) string {
	m := quantity.FindStringSubmatch(q)
	if m[5] != "" { // km/h
		return q
	}
	say := func(text string) string {
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", ""), 64)
		switch {
		case err != nil:
			return text
		case m[3] == "km":
			return r.Km(x)
		case m[4] != "":
			return r.Rate(part, x)
		case x < hair && r.ThicknessIn == Inches:
			return r.Fine(part, x)
		case r.ThicknessIn == Inches:
			return r.MM(part, x)
		}
		return text
	}
	out := ""
	if m[1] != "" {
		out = say(m[1]) + " to "
	}
	out += say(m[2]) + " "
	switch {
	case m[3] == "km":
		return out + r.DistanceUnit()
	case m[4] != "":
		return out + r.WearUnit()
	}
	return out + r.ThicknessUnit()
}

// Days says the days of a sentence that have their year as the reader wants them,
// and leaves alone what somebody may have typed: its quantities, and what it quotes.
func (r Reader) Days(s string) string {
	if forms[r.DaysAs].long == "" || r.DaysAs == DayMonth {
		return s
	}
	return quoted.ReplaceAllStringFunc(s, func(d string) string {
		if m := written.FindStringSubmatch(d); m == nil || m[0] != d || m[3] == "" {
			return d
		}
		return r.dated(d, nil)
	})
}

func (r Reader) dated(s string, today date) string {
	m := written.FindStringSubmatch(s)
	year := m[3]
	short := year == ""
	if short {
		year = strconv.Itoa(today.Time().Year())
	}
	text := m[1] + " " + m[2] + " " + year
	t, err := time.Parse("2 Jan 2006", text)
	if err != nil {
		t, err = time.Parse("2 January 2006", text)
	}
	if err != nil {
		return s
	}
	if !short {
		return t.Format(r.layout().long)
	}
	// The year in which nobody would read another.
	switch ahead := t.Sub(today.Time()); {
	case ahead >= yearlessAhead:
		t = t.AddDate(-1, 0, 0)
	case ahead <= -yearlessBack:
		t = t.AddDate(1, 0, 0)
	}
	return t.Format(r.layout().short)
}
