package demo

import (
	"math"
	"math/rand/v2"
	"strconv"
)

// decimals is how many decimals people write down of the gauge.
func (g gauge) decimals() int {
	switch {
	case g.step < .1:
		return 2
	case g.step < 1:
		return 1
	}
	return 0
}

// mistype returns value as somebody writes it down wrongly, and how: a digit is
// another one, two neighbours change places, or the decimal point is one place
// off. kind is "" where the value allows of no such mistake.
func mistype(r *rand.Rand, value float64, decimals int, most float64) (written float64, kind string) {
	for range 8 { // equal digits cannot change places, and the like
		if written, kind = slip(r, value, decimals, most); kind != "" {
			break
		}
	}
	return written, kind
}

// slip tries one mistake.
func slip(r *rand.Rand, value float64, decimals int, most float64) (written float64, kind string) {
	text := strconv.AppendFloat(nil, value, 'f', decimals, 64)
	n := len(text)
	if decimals > 0 {
		n-- // the point
	}
	// digit returns the place of digit i in text.
	digit := func(i int) int {
		if decimals > 0 && i >= n-decimals {
			return i + 1
		}
		return i
	}
	switch r.IntN(3) {
	case 0:
		kind = "digit"
		i := digit(r.IntN(n))
		text[i] = '0' + (text[i]-'0'+byte(1+r.IntN(9)))%10
	case 1:
		kind = "transposition"
		if n < 2 {
			return value, ""
		}
		i := r.IntN(n - 1)
		a, b := digit(i), digit(i+1)
		text[a], text[b] = text[b], text[a]
	case 2:
		kind = "factor ten"
		if written = value * 10; chance(r, .5) || written > most {
			written = value / 10
			if decimals == 0 {
				written = math.Floor(written)
			}
		}
	}
	if kind != "factor ten" {
		written, _ = strconv.ParseFloat(string(text), 64)
	}
	// Tidied to the nearest short decimal, as written on paper.
	written = math.Round(written*1000) / 1000
	if written == value || written > most || written < 0 {
		return value, ""
	}
	return written, kind
}
