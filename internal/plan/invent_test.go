package plan

import (
	"math"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// dice is a small generator of chance for invented problems (splitmix64).
type dice uint64

func (d *dice) next() float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

func (d *dice) between(lo, hi float64) float64 { return lo + (hi-lo)*d.next() }
func (d *dice) intn(n int) int                 { return int(d.next() * float64(n)) }

var testStart = fleet.NewDate(2026, 3, 2) // a Monday

// invented makes a problem up: vehicles with one to three axles whose limit
// days spread over the horizon and beyond, shops with weekends closed. load is
// the work over the hours there are.
func invented(seed uint64, jobs, days, shops int, load float64) *Problem {
	d := dice(seed)
	p := &Problem{Start: testStart, Days: days, Risk: .05}
	n, work := 0, 0.
	for id := int64(1); n < jobs; id++ {
		v := Vehicle{ID: id}
		home := d.intn(shops)
		v.Shops = append(v.Shops, Way{Shop: int64(home + 1)})
		for s := range shops {
			if s != home && d.next() < .3 {
				v.Shops = append(v.Shops, Way{Shop: int64(s + 1), Cost: d.between(.1, .4)})
			}
		}
		if d.next() < .3 {
			from := d.intn(days)
			for k := range 1 + d.intn(6) {
				v.Blocked = append(v.Blocked, testStart+fleet.Date(from+k))
			}
		}
		if d.next() < .2 {
			v.Joins = append(v.Joins, Slot{v.Shops[0].Shop, testStart + fleet.Date(d.intn(days))})
		}
		median := d.between(-.1, 1.1) * float64(days)
		for axle := 1; axle <= 1+d.intn(3) && n < jobs; axle++ {
			n++
			j := Job{Axle: axle, Hours: 1.5 + .25*float64(d.intn(8)), SetUp: .5, Usable: 10}
			if axle == 1 {
				j.Weight = 2
			}
			sd := d.between(8, 40)
			// Book-by dates about evenly from shortly before the start to
			// beyond the horizon, a twelfth of them overdue.
			mid := float64(testStart) + median + d.between(-5, 40) + 1.645*sd
			day := forecast.DistOf(func(q float64) float64 { return mid + sd*math.Sqrt2*math.Erfinv(2*q-1) })
			f := forecast.AxleForecast{
				Axle: axle, AsOf: forecast.Day(testStart), Crossing: forecast.Crossing{Day: day},
				Positions: []forecast.PositionForecast{{ThicknessMM: 2 + min(8, max(0, 10*(mid-float64(testStart))/600)), Spec: forecast.Spec{New: 12, Limit: 2}}},
			}
			w := j.Weight
			h, s := j.Hours, j.SetUp
			if !j.Outlook(&f, p) {
				panic("no outlook")
			}
			j.Weight, j.Hours, j.SetUp = w, h, s
			if d.next() < .1 {
				j.Ready = testStart + fleet.Date(d.intn(days/2))
			}
			if bookBy(j.Past, .05) < days-1 {
				work += j.Hours
			}
			v.Jobs = append(v.Jobs, j)
		}
		p.Vehicles = append(p.Vehicles, v)
	}
	open := 0
	for d := range days {
		if d%7 < 5 {
			open++
		}
	}
	hours := math.Ceil(4*work/load/float64(open*shops)) / 4
	for s := range shops {
		c := make([]Capacity, days)
		for d := range c {
			if d%7 < 5 {
				c[d] = Capacity{Hours: hours, Overtime: 1, Visits: int(math.Ceil(hours / 2))}
			}
		}
		p.Shops = append(p.Shops, Shop{ID: int64(s + 1), Days: c})
	}
	return p
}

func dateOf(d int) fleet.Date { return fleet.Date(d) }
