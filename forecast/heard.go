package forecast

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"maps"
	"slices"
)

// The forms below are a Heard as it goes from one process to another. Gob keeps
// every bit of a number. Vehicles of one class share their blocks with their
// duty.
type (
	heardForm struct {
		Vehicles int
		Usage    []usageForm // by name
		Blocks   []blocksForm
		Levels   []levelForm
		Taught   []taughtForm
		Lives    []lifeForm
		Noise    []noiseForm
	}
	usageForm struct {
		Name     string
		Vehicles int
		Season   [2 * harmonics][2*harmonics + 1]float64
		Weekday  [7][8]float64
		Sample   []int // in Blocks
	}
	blocksForm struct {
		ID       string
		From     []Day
		Days, Km []float64
	}
	levelForm struct {
		Family     int
		Key        string
		Lives      int
		Mean, Vari float64
	}
	taughtForm struct {
		Common [families]int
		Lives  int
	}
	lifeForm struct {
		Group      int
		Mean, Vari float64
	}
	noiseForm struct {
		ID                 string
		Length, Mean, Vari float64
		Noise              Noise
		Births             []birthForm
		Places             []placeForm
		Live               int
		Visits             []float64
		Rows               []rowForm
		Use                []int
		Face               []float64
		Standard           []bool
		Raw, Gauge, Joined []float64
		Depot              []string
		VisitAt, BirthAt   [][3]float64
	}
	birthForm struct {
		Day                        Day
		Known                      bool
		At, Gap, Mean, Common, Own float64
	}
	placeForm struct {
		Born, Side                  int
		F, Limit, Span, Onset, Drag float64
	}
	rowForm struct {
		Place, Visit, N int
		Y, SD           float64
	}
)

// MarshalBinary implements encoding.BinaryMarshaler.
func (h *Heard) MarshalBinary() ([]byte, error) {
	f := heardForm{Vehicles: h.vehicles}
	at := make(map[string]int)
	for _, name := range slices.Sorted(maps.Keys(h.usage)) {
		s := h.usage[name]
		s.thin()
		u := usageForm{Name: name, Vehicles: s.vehicles, Season: s.season, Weekday: s.weekday}
		for i := range s.sample {
			one := &s.sample[i]
			n, ok := at[one.id]
			if !ok {
				n = len(f.Blocks)
				at[one.id] = n
				b := blocksForm{ID: one.id}
				for _, x := range one.blocks {
					b.From, b.Days, b.Km = append(b.From, x.from), append(b.Days, x.days), append(b.Km, x.km)
				}
				f.Blocks = append(f.Blocks, b)
			}
			u.Sample = append(u.Sample, n)
		}
		f.Usage = append(f.Usage, u)
	}
	for _, l := range h.rates.levels {
		f.Levels = append(f.Levels, levelForm{l.family, l.key, l.lives, l.mean, l.vari})
	}
	for _, v := range h.rates.vehicles {
		f.Taught = append(f.Taught, taughtForm{v.common, v.last - v.first})
	}
	for _, l := range h.rates.lives {
		f.Lives = append(f.Lives, lifeForm{l.group, l.mean, l.vari})
	}
	for _, l := range h.noise.lives() {
		f.Noise = append(f.Noise, l.form())
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(f); err != nil {
		return nil, fmt.Errorf("what was heard of a share: %w", err)
	}
	return b.Bytes(), nil
}

// UnmarshalBinary implements encoding.BinaryUnmarshaler.
func (h *Heard) UnmarshalBinary(data []byte) error {
	var f heardForm
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&f); err != nil {
		return fmt.Errorf("what was heard of a share: %w", err)
	}
	*h = Heard{vehicles: f.Vehicles, usage: make(usageHeard), rates: newRateFit(), noise: newNoiseFit(new(Params))}
	samples := make([]usageSample, len(f.Blocks))
	for i, b := range f.Blocks {
		one := usageSample{key: hashOf(b.ID), id: b.ID}
		for k := range b.From {
			one.blocks = append(one.blocks, block{from: b.From[k], days: b.Days[k], km: b.Km[k]})
		}
		samples[i] = one
	}
	for _, u := range f.Usage {
		s := &usageSums{vehicles: u.Vehicles, season: u.Season, weekday: u.Weekday}
		for _, n := range u.Sample {
			s.keep(samples[n])
		}
		h.usage[u.Name] = s
	}
	r := h.rates
	for _, l := range f.Levels {
		c := r.column(l.Family, l.Key, l.Lives)
		r.levels[c].mean, r.levels[c].vari = l.Mean, l.Vari
	}
	first := 0
	for _, v := range f.Taught {
		r.vehicles = append(r.vehicles, taughtVehicle{v.Common, first, first + v.Lives})
		first += v.Lives
	}
	for _, l := range f.Lives {
		r.lives = append(r.lives, taughtLife{l.Group, l.Mean, l.Vari})
	}
	for i := range f.Noise {
		h.noise.add(f.Noise[i].life())
	}
	return nil
}

func (l *noiseLife) form() noiseForm {
	f := noiseForm{
		ID: l.id, Length: l.length, Mean: l.mean, Vari: l.vari, Noise: *l.noise,
		Live: l.live, Visits: l.visits, Use: l.use, Face: l.face, Standard: l.standard,
		Raw: l.raw, Gauge: l.gauge, Joined: l.joined, Depot: l.depot, VisitAt: l.visitAt, BirthAt: l.birthAt,
	}
	for _, b := range l.births {
		f.Births = append(f.Births, birthForm{b.day, b.known, b.at, b.gap, b.mean, b.common, b.own})
	}
	for _, p := range l.places {
		f.Places = append(f.Places, placeForm{p.born, p.side, p.f, p.limit, p.span, p.onset, p.drag})
	}
	for _, r := range l.rows {
		f.Rows = append(f.Rows, rowForm{r.place, r.visit, r.n, r.y, r.sd})
	}
	return f
}

func (f *noiseForm) life() *noiseLife {
	l := &noiseLife{
		axleLife: axleLife{noise: &f.Noise, length: f.Length, live: f.Live, visits: f.Visits, mean: f.Mean, vari: f.Vari},
		key:      hashOf(f.ID), id: f.ID, use: f.Use, face: f.Face, standard: f.Standard,
		raw: f.Raw, gauge: f.Gauge, joined: f.Joined, depot: f.Depot, visitAt: f.VisitAt, birthAt: f.BirthAt,
	}
	for _, b := range f.Births {
		l.births = append(l.births, birth{b.Day, b.Known, b.At, b.Gap, b.Mean, b.Common, b.Own})
	}
	for _, p := range f.Places {
		l.places = append(l.places, place{p.Born, p.Side, p.F, p.Limit, p.Span, p.Onset, p.Drag})
	}
	for _, r := range f.Rows {
		l.rows = append(l.rows, row{place: r.Place, visit: r.Visit, y: r.Y, sd: r.SD, n: r.N})
	}
	return l
}
