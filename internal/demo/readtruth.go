package demo

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// ReadTruth reads what WriteCSV wrote of the truth into dir, by vehicle, as
// far as forecasts are scored by it. Where there is none the error is
// fs.ErrNotExist.
func ReadTruth(dir string) (map[string]*forecast.Truth, error) {
	truth := map[string]*forecast.Truth{}
	of := func(vehicle string) *forecast.Truth {
		if truth[vehicle] == nil {
			truth[vehicle] = &forecast.Truth{Faults: new(forecast.Faults)}
		}
		return truth[vehicle]
	}
	type set struct {
		vehicle      string
		axle, number float64
	}
	sets := map[set]int{} // of pads and linings: index in Lives
	err := eachRow(filepath.Join(dir, "truth", "lives.csv"), func(c *cells) {
		l := forecast.Life{
			Axle:      int(c.number("axle")),
			Part:      forecast.Part(c.text("part")),
			Fitted:    c.day("fitted_date", math.MinInt32),
			Removed:   c.day("removed_date", forecast.NotRemoved),
			FittedKm:  c.number("fitted_km"),
			RemovedKm: c.number("removed_km"),
			Declared:  c.text("declared") == "yes",
			CrossKm:   c.number("limit_km"),
			CrossDay:  math.NaN(),
			First: forecast.Position{
				Part: forecast.Part(c.text("part")),
				Side: c.text("first_side"),
				Face: c.text("first_face"),
			},
			Km10: 10 / c.number("group_rate_mm_per_10000km") * 10_000,
		}
		if side := c.text("drag_side"); side != "" {
			l.DragSide, l.DragDay = side, float64(c.day("drag_date", 0))
		}
		if c.text("limit_date") != "" {
			l.CrossDay = float64(c.day("limit_date", 0))
		}
		t := of(c.text("vehicle"))
		if l.Part == forecast.Pad || l.Part == forecast.Lining {
			sets[set{c.text("vehicle"), c.number("axle"), c.number("number")}] = len(t.Lives)
		}
		t.Lives = append(t.Lives, l)
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(filepath.Join(dir, "truth", "odometer.csv"), func(c *cells) {
		t := of(c.text("vehicle"))
		if c.text("kind") == clusterSwap {
			t.Shifts = append(t.Shifts, forecast.Shift{
				Day: c.day("date", 0),
				Km:  c.number("km") - c.number("written_km"),
			})
			return
		}
		t.Faults.Odometer = append(t.Faults.Odometer, forecast.OdometerTypo{
			Day: c.day("date", 0), Meant: c.number("meant_km"), Written: c.number("written_km"),
		})
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(filepath.Join(dir, "truth", "typos.csv"), func(c *cells) {
		t := of(c.text("vehicle"))
		t.Faults.Readings = append(t.Faults.Readings, forecast.Misread{
			Day: c.day("date", 0), Axle: int(c.number("axle")),
			Pos: forecast.Position{
				Part: forecast.Part(c.text("part")),
				Side: c.text("side"),
				Face: c.text("face"),
			},
			Meant: c.number("meant_mm"), Written: c.number("written_mm"),
			Swapped: c.text("kind") == sideSwap,
		})
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(filepath.Join(dir, "truth", "distance.csv"), func(c *cells) {
		t := of(c.text("vehicle"))
		t.Path = append(t.Path, forecast.Odometer{Day: c.day("date", 0), Km: c.number("km")})
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(filepath.Join(dir, "truth", "odometer-to-come.csv"), func(c *cells) {
		t := of(c.text("vehicle"))
		t.OdometerToCome = append(t.OdometerToCome, forecast.Odometer{Day: c.day("date", 0), Km: c.number("odometer_km")})
	})
	if errors.Is(err, fs.ErrNotExist) { // lives then end where the records do
		return truth, nil
	}
	if err != nil {
		return nil, err
	}
	for _, t := range truth {
		t.GoesOn = true
	}
	err = eachRow(filepath.Join(dir, "truth", "inspections-to-come.csv"), func(c *cells) {
		i, ok := sets[set{c.text("vehicle"), c.number("axle"), c.number("number")}]
		if !ok {
			c.err = errors.Join(c.err, errors.New("no such set of pads or linings in lives.csv"))
			return
		}
		r := forecast.Reading{
			Day: c.day("date", 0),
			Km:  c.number("odometer_km"),
			Pos: forecast.Position{
				Part: forecast.Part(c.text("part")),
				Side: c.text("side"),
				Face: c.text("face"),
			},
			Step: pipeline.GaugeStep(c.text("gauge")),
		}
		value, tripped := strings.CutPrefix(c.text("value_mm"), "<")
		mm, err := strconv.ParseFloat(value, 64)
		if err != nil {
			c.err = errors.Join(c.err, fmt.Errorf("column value_mm: %w", err))
		}
		r.MM, r.Tripped = mm, tripped
		l := &of(c.text("vehicle")).Lives[i]
		l.ToCome = append(l.ToCome, r)
	})
	return truth, err
}

// cells is one row, read by the names of its columns; the first fault is kept.
type cells struct {
	at  map[string]int
	row []string
	err error
}

func (c *cells) text(column string) string {
	i, ok := c.at[column]
	if !ok || i >= len(c.row) {
		c.err = errors.Join(c.err, fmt.Errorf("no column %s", column))
		return ""
	}
	return c.row[i]
}

// number is NaN where the cell is blank.
func (c *cells) number(column string) float64 {
	s := c.text(column)
	if s == "" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		c.err = errors.Join(c.err, fmt.Errorf("column %s: %w", column, err))
	}
	return x
}

func (c *cells) day(column string, blank forecast.Day) forecast.Day {
	s := c.text(column)
	if s == "" {
		return blank
	}
	d, err := fleet.ParseDate(s)
	if err != nil {
		c.err = errors.Join(c.err, fmt.Errorf("column %s: %w", column, err))
	}
	return forecast.Day(d)
}

// eachRow calls fn for every row below the header of a CSV file.
func eachRow(name string, fn func(*cells)) error {
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("truth: %w", err) // for the caller to do without
	}
	if err != nil {
		return fleet.Invalidf("%v", err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	header, err := r.Read()
	if err != nil {
		return fleet.Invalidf("%s: %v", name, err)
	}
	c := cells{at: make(map[string]int, len(header))}
	for i, h := range header {
		c.at[h] = i
	}
	for {
		c.row, err = r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			fn(&c)
			err = c.err
		}
		if err != nil {
			line, _ := r.FieldPos(0)
			return fleet.Invalidf("%s: line %d: %v", name, line, err)
		}
	}
}
