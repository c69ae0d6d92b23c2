package store

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// positionColumns are the columns of forecast_positions.
var positionColumns = []string{"vehicle_id", "axle", "positions", "km_quantiles", "day_quantiles"}

// axlesWritten is of how many axles a statement writes the positions: those of a vehicle
// or two, some 100 kB.
const axlesWritten = 16

// positionRows are the rows of forecast_positions; an error ends them.
func positionRows(fs []AxleForecast, failed *error) iter.Seq[[]any] {
	return func(yield func([]any) bool) {
		for i := range fs {
			ps := fs[i].Positions
			text := []byte{'['}
			km, day := make([]byte, 0, len(ps)*distBytes), make([]byte, 0, len(ps)*distBytes)
			for j := range ps {
				if j > 0 {
					text = append(text, ',')
				}
				if text, *failed = appendPosition(text, &ps[j]); *failed != nil {
					return
				}
				km, day = appendDist(km, ps[j].Crossing.Km), appendDist(day, ps[j].Crossing.Day)
			}
			if !yield([]any{fs[i].VehicleID, fs[i].Axle, string(append(text, ']')), km, day}) {
				return
			}
		}
	}
}

// appendPosition appends what is kept of a position beside its quantiles, as an array
// of JSON. encoding/json takes five times as long, either way.
func appendPosition(b []byte, p *forecast.PositionForecast) ([]byte, error) {
	for i, word := range [...]string{string(p.Pos.Part), p.Pos.Side, p.Pos.Face} {
		if strings.ContainsFunc(word, func(r rune) bool { return r < ' ' || strings.ContainsRune(`"\[`, r) }) {
			return b, fmt.Errorf("%q is no word of a position", word)
		}
		b = append(append(append(b, "[,"[min(i, 1)], '"'), word...), '"')
	}
	for _, x := range [...]float64{p.Spec.New, p.Spec.Limit, p.ThicknessMM, p.RatePer10000} {
		b = append(b, ',')
		switch {
		case math.IsNaN(x):
			b = append(b, "null"...)
		case math.IsInf(x, 0): // which is no number of JSON
			b = append(strconv.AppendFloat(append(b, '"'), x, 'g', -1, 64), '"')
		default:
			b = strconv.AppendFloat(b, x, 'g', -1, 64)
		}
	}
	b = append(strconv.AppendInt(append(b, ','), int64(p.Readings), 10), `,"`...)
	b = append(append(b, fleet.Date(p.Since).String()...), `",`...)
	return append(strconv.AppendBool(b, p.SinceKnown), ']'), nil
}

// savePositions replaces the positions of axles.
func (t *tx) savePositions(fs []AxleForecast) error {
	for some := range slices.Chunk(fs, axlesWritten) {
		if err := t.send(); err != nil { // those before
			return err
		}
		var failed error
		args := make([]any, 0, len(some)*len(positionColumns))
		for row := range positionRows(some, &failed) {
			args = append(args, row...)
		}
		if failed != nil {
			return failed
		}
		err := t.later(`
			insert into forecast_positions (`+strings.Join(positionColumns, ", ")+`)
			values `+strings.Repeat(", "+places(len(positionColumns)), len(some))[2:]+`
			on conflict (vehicle_id, axle) do update
			set positions = excluded.positions, km_quantiles = excluded.km_quantiles, day_quantiles = excluded.day_quantiles`, args...)
		if err != nil {
			return err
		}
	}
	return nil
}

// positionsRead is what was read of a row of forecast_positions; all of it is nil
// where there is none.
type positionsRead struct{ positions, km, day []byte }

// whole returns the positions, with the quantiles of those parts that are wanted.
func (r *positionsRead) whole(wanted func(forecast.Part) bool) (ps []forecast.PositionForecast, err error) {
	left := values(r.positions)
	for n := bytes.Count(r.positions, []byte("[")) - 1; len(ps) < n; {
		if ps == nil {
			ps = make([]forecast.PositionForecast, 0, n)
		}
		p := forecast.PositionForecast{
			Pos:          forecast.Position{Part: forecast.Part(left.text()), Side: left.text(), Face: left.text()},
			Spec:         forecast.Spec{New: left.number(&err), Limit: left.number(&err)},
			ThicknessMM:  left.number(&err),
			RatePer10000: left.number(&err),
			Readings:     int(left.number(&err)),
			Since:        left.day(&err),
			SinceKnown:   left.text() == "true",
		}
		if err != nil {
			return nil, fmt.Errorf("positions %s: %w", r.positions, err)
		}
		if wanted(p.Pos.Part) {
			p.Crossing = forecast.Crossing{Km: distAt(r.km, len(ps), n), Day: distAt(r.day, len(ps), n)}
		}
		ps = append(ps, p)
	}
	return ps, nil
}

// values is what is left to read of arrays as appendPosition and both databases write
// them.
type values string

// text cuts the next value off.
func (s *values) text() (v string) {
	left := strings.TrimLeft(string(*s), " \n,[]")
	if quoted, ok := strings.CutPrefix(left, `"`); ok {
		v, left, _ = strings.Cut(quoted, `"`)
	} else if end := strings.IndexAny(left, ",]"); end >= 0 {
		v, left = left[:end], left[end:]
	}
	*s = values(left)
	return v
}

func (s *values) number(failed *error) float64 {
	v := s.text()
	if v == "null" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(v, 64)
	if !errors.Is(err, strconv.ErrRange) { // SQLite writes an infinity as 9.0e+999
		*failed = cmp.Or(*failed, err)
	}
	return x
}

func (s *values) day(failed *error) forecast.Day {
	d, err := fleet.ParseDate(s.text())
	*failed = cmp.Or(*failed, err)
	return forecast.Day(d)
}

// distBytes is how many bytes a distribution takes beside others.
var distBytes = 8 * len(forecast.Levels)

// unknownDist stands among others for a distribution that is not known: NaNs.
var unknownDist = bytes.Repeat([]byte{0xff}, distBytes)

func appendDist(b []byte, d forecast.Dist) []byte {
	if !d.Known() {
		return append(b, unknownDist...)
	}
	return appendQuantiles(b, d)
}

// distAt returns the i-th of n distributions; they are kept at other levels by an older
// program, until the next refit, where their length is another.
func distAt(b []byte, i, n int) forecast.Dist {
	if len(b) != n*distBytes {
		return forecast.Dist{}
	}
	b = b[i*distBytes:][:distBytes]
	if bytes.Equal(b, unknownDist) {
		return forecast.Dist{}
	}
	return distOf(b)
}
