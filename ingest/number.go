package ingest

import (
	"math"
	"strconv"
	"strings"
)

// parseNumber reads a number as people and spreadsheets write it: a point or a
// comma before the decimals, groups of three digits parted by a space, an
// apostrophe, or the one of point and comma that is not the decimal sign.
// fault says why it is none; "" = it is one.
//
// grouped says that values above 999 are usual, as of an odometer: "123.456"
// may then be meant either way and is refused. A thickness is never written
// in groups. exact says that a program wrote the number, which then may have
// an exponent and only a point.
func parseNumber(s string, grouped, exact bool) (x float64, fault string) {
	if x, ok := plainNumber(s); ok && !(grouped && !exact && ambiguous(s)) {
		return x, ""
	}
	if exact {
		if x, err := strconv.ParseFloat(s, 64); err == nil && numeric(s, "0123456789.eE+-") {
			return x, ""
		}
	}
	body := strings.TrimPrefix(s, "-")
	switch {
	case strings.HasPrefix(s, "#"):
		return 0, "a spreadsheet's error, not a number: mend the cell, or leave it out"
	case numeric(body, "0123456789.,eE+-") && strings.ContainsAny(body, "eE") && body[0] >= '0' && body[0] <= '9':
		return 0, "digits are lost: show the cell as a plain number before saving"
	case !numeric(body, "0123456789.,'’ \u00a0\u2009\u202f") || !strings.ContainsAny(body, "0123456789"):
		return 0, "not a number"
	case grouped && ambiguous(body):
		return 0, "may be thousands or decimals: write it without a sign between thousands, such as " + strings.NewReplacer(".", "", ",", "").Replace(s)
	}
	whole, decimals := body, ""
	if i := decimalSign(body, grouped); i >= 0 {
		whole, decimals = body[:i], body[i+1:]
	}
	groups := strings.FieldsFunc(whole, func(r rune) bool { return r < '0' || r > '9' })
	for i, g := range groups {
		if len(groups) > 1 && (i > 0 && len(g) != 3 || len(g) > 3) {
			return 0, "not a number"
		}
	}
	if decimals != "" && !isDigits(decimals) || decimals == "" && strings.HasSuffix(body, ",") {
		return 0, "not a number"
	}
	x, err := strconv.ParseFloat(strings.Join(groups, "")+"."+decimals, 64)
	if err != nil {
		return 0, "not a number"
	}
	if len(body) < len(s) {
		x = -x
	}
	return x, ""
}

// decimalSign returns where the decimals' sign stands in body, or -1: the last
// of two different signs, or one that stands alone, unless it parts thousands.
func decimalSign(body string, grouped bool) int {
	last := strings.LastIndexAny(body, ".,")
	if last < 0 {
		return -1
	}
	if strings.Count(body, body[last:last+1]) > 1 {
		return -1 // 1.234.567
	}
	return last
}

// ambiguous says whether s has one point or comma that may part thousands:
// one to three digits before it, the first not 0, and three after.
func ambiguous(s string) bool {
	i := strings.IndexAny(s, ".,")
	return i >= 1 && i <= 3 && s[0] != '0' && len(s) == i+4 && isDigits(s[:i]) && isDigits(s[i+1:])
}

// plainNumber reads digits with at most one point, the usual case, exactly:
// up to 15 digits and a power of ten to 22 are both exact in a float64, so
// their quotient is rounded once.
func plainNumber(s string) (float64, bool) {
	if s == "" || len(s) > 16 {
		return 0, false
	}
	var mantissa int64
	point, digits := -1, 0
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			mantissa = mantissa*10 + int64(c-'0')
			digits++
		case c == '.' && point < 0:
			point = i
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 {
		return 0, false
	}
	if point < 0 {
		return float64(mantissa), true
	}
	return float64(mantissa) / pow10[len(s)-1-point], true
}

var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// numeric says whether s has no rune beside those of set.
func numeric(s, set string) bool {
	for _, r := range s {
		if !strings.ContainsRune(set, r) {
			return false
		}
	}
	return s != ""
}

// ownUnit takes the unit that a cell itself has behind its number, as
// "210040 km", off its end. It overrules u, its column's, if it measures the
// same; anything else stays in s, which then is no number.
func ownUnit(s string, u unit) (number string, own unit) {
	if isDigits(s) {
		return s, u // the usual case
	}
	n := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,'’-+ \u00a0\u2009\u202f", r) })
	if n <= 0 {
		return s, u
	}
	name := normal(s[n:])
	for _, e := range unitEndings {
		if e.words == name && e.base == u.base {
			return strings.TrimSpace(s[:n]), e.unit
		}
	}
	return s, u
}

// fraction reads "9/32" and "1 3/16".
func fraction(s string) (x float64, ok bool) {
	whole, frac := 0.0, s
	if before, after, has := strings.Cut(s, " "); has {
		if whole, ok = plainNumber(before); !ok {
			return 0, false
		}
		frac = strings.TrimSpace(after)
	}
	num, den, has := strings.Cut(frac, "/")
	if !has || !isDigits(num) || !isDigits(den) {
		return 0, false
	}
	n, ok1 := plainNumber(num)
	d, ok2 := plainNumber(den)
	if !ok1 || !ok2 || d == 0 {
		return 0, false
	}
	return whole + n/d, true
}

// length is one measured thickness or diameter as a cell gives it.
type length struct {
	mm     float64
	given  string // as written, without the unit
	unit   string
	atMost bool // a wear sensor's signal: at or below mm
}

// parseLength reads a thickness; u is its column's unit, which a cell may
// overrule: "9/32 in".
func parseLength(s string, u unit, exact bool) (l length, fault string) {
	for _, sign := range []string{"<=", "<", "≤"} {
		if rest, ok := strings.CutPrefix(s, sign); ok {
			s, l.atMost = strings.TrimSpace(rest), true
			break
		}
	}
	for _, e := range []struct {
		ending string
		unit   unit
	}{{"mm", millimetre}, {"in", inch}, {"in.", inch}, {"inch", inch}, {"\"", inch}, {"″", inch}} {
		if n := len(s) - len(e.ending); n > 0 && strings.EqualFold(s[n:], e.ending) {
			s, u = strings.TrimSpace(s[:n]), e.unit
			break
		}
	}
	if strings.Contains(s, "/") {
		x, ok := fraction(s)
		switch {
		case !ok:
			return l, "not a number"
		case u == millimetre:
			return l, "a fraction, but the unit is mm: write the unit behind it, such as 9/32 in"
		}
		// A fraction is of an inch even where whole numbers are 1/32 of one.
		l.given = s
		return l.of(x, inch), ""
	}
	x, fault := parseNumber(s, false, exact)
	if fault != "" {
		return l, fault
	}
	l.given = s
	if exact {
		x, l.given = tidy(s, x)
	}
	return l.of(x, u), ""
}

// convert returns x in the base of its unit. A product is rounded to a millionth, so that
// 7/16 in is 11.1125 mm and not a little beside it.
func (u unit) convert(x float64) float64 {
	if u.factor == 1 {
		return x
	}
	return math.Round(x*u.factor*1e6) / 1e6
}

// of sets the value x, given in unit u.
func (l length) of(x float64, u unit) length {
	l.mm, l.unit = u.convert(x), u.name
	if l.atMost {
		l.given = "<" + l.given
	}
	return l
}

// tidy takes the noise of binary arithmetic off a number that a program wrote,
// such as 0.30000000000000004: spreadsheets show 15 digits and mean them.
func tidy(s string, x float64) (float64, string) {
	if len(s) <= 15 && !strings.ContainsAny(s, "eE") {
		return x, s
	}
	x, _ = strconv.ParseFloat(strconv.FormatFloat(x, 'g', 15, 64), 64)
	return x, strconv.FormatFloat(x, 'f', -1, 64)
}
