package demo

import "brakewear/internal/fleet"

// records are the five files that an import reads.
type records struct {
	vehicles, axles, readings, odometer, fitments *table
}

func (f *records) write(v *Vehicle) {
	f.vehicles.text(v.Number).text(v.Fleet).text(v.Depot).text(v.Plate).text(string(v.Category)).
		text(v.Make).text(v.Model).int(v.Year).text(v.Duty).end()
	for i := range v.Axles {
		a := &v.Axles[i]
		t := f.axles.text(v.Number).int(a.Number).text(string(a.Brake))
		for _, p := range fleet.Parts {
			if s, ok := a.Specs[p]; ok {
				t.number(s.New).number(s.Limit)
			} else {
				t.blank(2)
			}
		}
		t.end()
	}
	for i := range v.Readings {
		r := &v.Readings[i]
		f.readings.text(v.Number).date(r.Date).km(r.OdometerKm).position(r.Position).
			text(r.Given).text(r.Gauge).text(r.Technician).text(r.Note).end()
	}
	for _, o := range v.Odometer {
		f.odometer.text(v.Number).date(o.Date).number(o.Km).end()
	}
	for _, x := range v.Fitments {
		f.fitments.text(v.Number).date(x.Date).km(x.OdometerKm).position(x.Position).number(x.MM).end()
	}
}

// truthTables are the files of the truth.
type truthTables struct {
	vehicles, lives, positions, typos, odometer, distance, toCome, fuel *table
}

func (f *truthTables) write(v *Vehicle) {
	tr := &v.Truth
	f.vehicles.text(v.Number).text(tr.Class).text(tr.Origin).date(tr.Entry).end()
	for i := range tr.Lives {
		f.life(v.Number, &tr.Lives[i])
	}
	for _, x := range tr.Typos {
		f.typos.text(v.Number).date(x.Date).position(x.Position).text(x.Kind).
			fixed(x.TrueMM, 3).number(x.MeantMM).number(x.WrittenMM).end()
	}
	for _, x := range tr.OdometerFaults {
		f.odometer.text(v.Number).date(x.Date).text(x.Kind).fixed(x.Km, 1).fixed(x.MeantKm, 1).fixed(x.WrittenKm, 1).end()
	}
	for _, m := range tr.Distance {
		f.distance.text(v.Number).moment(m).end()
	}
	for i := range tr.Lives {
		l := &tr.Lives[i]
		for k := range l.ToCome {
			r := &l.ToCome[k]
			f.toCome.text(v.Number).int(l.Axle).int(l.Number).date(r.Date).km(r.OdometerKm).
				text(string(r.Position.Part)).text(string(r.Position.Side)).text(string(r.Position.Face)).
				text(r.Given).text(r.Gauge).end()
		}
	}
	for _, o := range tr.OdometerToCome {
		f.fuel.text(v.Number).date(o.Date).number(o.Km).end()
	}
}

func (f *truthTables) life(number string, l *Life) {
	declared := "no"
	if l.Declared {
		declared = "yes"
	}
	first := &l.Positions[l.First]
	t := f.lives.text(number).int(l.Axle).text(string(l.Part)).int(l.Number).text(declared).
		moment(l.Fitted).moment(l.Removed).
		number(l.FittedMM).number(l.New).number(l.Limit).
		moment(l.Crossing).text(string(first.Side)).text(string(first.Face)).
		fixed(l.Rate, 4).fixed(l.GroupRate, 4)
	if l.Drag.Known {
		t.date(l.Drag.Date).text(string(l.DragSide))
	} else {
		t.blank(2)
	}
	t.end()
	for i := range l.Positions {
		p := &l.Positions[i]
		f.positions.text(number).int(l.Axle).text(string(l.Part)).int(l.Number).
			text(string(p.Side)).text(string(p.Face)).fixed(p.StartMM, 3).moment(p.Crossing).end()
	}
}
