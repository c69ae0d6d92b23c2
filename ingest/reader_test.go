package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

// All vehicles, people and readings in these tests are invented.

var today = fleet.NewDate(2026, time.March, 1)

// readAll reads a file with a small buffer, so that lines go over its end.
func readAll(r *Reader) ([]Row, error) {
	var rows []Row
	for buf := make([]Row, 3); ; {
		n, err := r.Read(buf)
		rows = append(rows, buf[:n]...)
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
	}
}

// mustRead reads text whole.
func mustRead(t *testing.T, text string, opt Options) ([]Row, *Reader) {
	t.Helper()
	if opt.Today == 0 {
		opt.Today = today
	}
	r, err := NewReader(strings.NewReader(text), "file.csv", opt)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := readAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return rows, r
}

// show puts a row on one line.
func show(row Row) string {
	head := fmt.Sprintf("%d %s", row.Line, row.Vehicle)
	if row.Fleet != "" {
		head += " of " + row.Fleet
	}
	km := func(x *float64) string {
		if x == nil {
			return "no km"
		}
		return fmt.Sprintf("%.6g km", *x)
	}
	switch {
	case row.Entry != nil:
		e := row.Entry
		return fmt.Sprintf("%s: depot %q plate %q %s %q %q %d %q", head, e.Depot, e.Plate, e.Category, e.Make, e.Model, e.Year, e.Duty)
	case row.Axle != nil:
		s := fmt.Sprintf("%s: axle %d %s", head, row.Axle.Number, row.Axle.Brake)
		for _, p := range fleet.Parts {
			if spec, ok := row.Axle.Specs[p]; ok {
				s += fmt.Sprintf(", %s %.6g to %.6g", p, spec.New, spec.Limit)
			}
		}
		return s
	case row.Odometer != nil:
		s := fmt.Sprintf("%s: %s %.6g km", head, row.Odometer.Date, row.Odometer.Km)
		if p := row.Odometer.PreviousKm; p != nil {
			s += fmt.Sprintf(", another cluster showed %.6g", *p)
		}
		return s
	case row.Fitment != nil:
		f := row.Fitment
		return fmt.Sprintf("%s: %s %s %s %.6g mm", head, f.Date, km(f.OdometerKm), f.Position, f.MM)
	case row.Reading != nil:
		r := row.Reading
		s := fmt.Sprintf("%s: %s %s %s %.6g mm", head, r.Date, km(r.OdometerKm), r.Position, r.MM)
		if r.Unit != "mm" {
			s += fmt.Sprintf(" (%s %s)", r.Given, r.Unit)
		}
		if r.Tripped {
			s += " tripped"
		}
		for _, x := range []string{r.Gauge, r.Technician, r.Note} {
			if x != "" {
				s += fmt.Sprintf(" %q", x)
			}
		}
		return s
	}
	if a := row.Absence; a != nil && a.Vehicle != nil {
		day := func(d *fleet.Date) string {
			if d == nil {
				return "…"
			}
			return d.String()
		}
		return fmt.Sprintf("%s: away %s to %s, days %q, %q", head, day(a.Vehicle.First), day(a.Vehicle.Last), a.Vehicle.Weekdays, a.Vehicle.Reason)
	} else if a != nil {
		return fmt.Sprintf("%sworkshop %s: %s to %s, %.6g h, %q", head, a.Depot, a.Closure.First, a.Closure.Last, a.Closure.Technicians, a.Closure.Reason)
	}
	if v := row.Visit; v != nil {
		return fmt.Sprintf("%s: comes in %s, %q, depot %q", head, v.Day, v.What, v.Depot)
	}
	if b := row.BrakeTest; b != nil {
		s := fmt.Sprintf("%s: %s %s %s brake %s %s, %d lines", head, b.Date, b.Method, b.System, b.Stage, km(b.OdometerKm), b.Lines)
		for _, x := range []struct {
			name string
			x    float64
		}{{"kg", b.WeightKg}, {"N on the pedal", b.PedalN}, {"m/s2 mean", b.Mean}, {"m/s2 peak", b.Peak}, {"km/h", b.SpeedKmh}, {"m", b.DistanceM}, {"m to 0.8", b.BeginM}, {"m to 0.1", b.EndM}} {
			if x.x != 0 {
				s += fmt.Sprintf(", %.6g %s", x.x, x.name)
			}
		}
		for _, w := range b.Wheels {
			s += fmt.Sprintf(", axle %d %s %.6g N", w.Axle, w.Side, w.N)
			if w.Locked {
				s += " locked"
			}
		}
		if b.ForceUnit != "" {
			s += " (" + b.ForceUnit + ")"
		}
		for _, x := range []string{b.Technician, b.Note} {
			if x != "" {
				s += fmt.Sprintf(" %q", x)
			}
		}
		return s
	}
	return head + ": nothing"
}

func showAll(rows []Row) []string {
	var out []string
	for _, row := range rows {
		out = append(out, show(row))
	}
	return out
}

// showProblem puts a problem on one line.
func showProblem(p fleet.Problem) string {
	verdict := "note"
	if p.Refused {
		verdict = "refused"
	}
	return fmt.Sprintf("%d %s %s %q: %s", p.Line, verdict, p.Column, p.Read, p.Message)
}

func showProblems(ps []fleet.Problem) []string {
	var out []string
	for _, p := range ps {
		out = append(out, showProblem(p))
	}
	return out
}

func TestRead(t *testing.T) {
	for _, c := range []struct {
		name, text string
		opt        Options
		kind       Kind
		want       []string
		notes      []string
	}{
		{
			name: "vehicles",
			text: "vehicle,fleet,depot,plate,category,make,model,year,duty\n" +
				"Bus 1,Ferry Lines,Harbour,KEA 1,m3,,,2019,city\n007,,,,,,,,\n",
			kind: Vehicles,
			want: []string{
				`2 Bus 1 of Ferry Lines: depot "Harbour" plate "KEA 1" M3 "" "" 2019 "city"`,
				`3 007: depot "" plate ""  "" "" 0 ""`,
			},
		},
		{
			name: "axles, brake told by the parts, inches",
			text: "Vehicle No.;Axle;Brake;Pad new (mm);Pad min (mm);Lining new (1/32 in);Lining limit (1/32 in);Disc new in;Disc min in\n" +
				"Bus 1;1;;19;4;;;1,5;1.25\nBus 1;2;drum;;;24;8;;\n",
			kind: Axles,
			// 1.5 in = 38.1 mm, 1.25 in = 31.75 mm; 24/32 in = 19.05 mm, 8/32 in = 6.35 mm: 25.4 mm to the inch.
			want: []string{
				"2 Bus 1: axle 1 disc, pad 19 to 4, rotor 38.1 to 31.75",
				"3 Bus 1: axle 2 drum, lining 19.05 to 6.35",
			},
		},
		{
			name: "odometer in miles",
			text: "VEHICLE\tDate\tMileage (mi)\nVan 2\t2026-02-01T07:30:00Z\t1 000\nVan 2\t2026-02-02\t10,000.5\n",
			kind: Odometer,
			// 1,000 mi = 1609.344 km; 10,000.5 mi = 16094.24 km: 1.609344 km to the mile.
			want: []string{"2 Van 2: 2026-02-01 1609.34 km", "3 Van 2: 2026-02-02 16094.2 km"},
		},
		{
			name: "a changed cluster, the old one in miles",
			text: "vehicle,date,odometer_km,old odometer (mi)\nVan 2,2026-02-01,0,1000\nVan 2,2026-02-02,60,\n",
			kind: Odometer,
			want: []string{"2 Van 2: 2026-02-01 0 km, another cluster showed 1609.34", "3 Van 2: 2026-02-02 60 km"},
		},
		{
			name: "long readings",
			text: "vehicle,date,odometer_km,axle,part,side,face,value_mm,gauge,technician,note\r\n" +
				"Bus 1,2026-02-01,155000,1,pad,left,inner,7.4,calliper,Ada,\"first, then\nlunch\"\r\n" +
				"Bus 1,2026-02-01,,2,Disc,R,,\"31,5\",,,3/4\" hose\r\n" +
				"Bus 1,2026-02-01,155000,1,,right,Outboard,<3,,,\r\n",
			kind: Readings,
			want: []string{
				`2 Bus 1: 2026-02-01 155000 km axle 1 left inner pad 7.4 mm "calliper" "Ada" "first, then\nlunch"`,
				`4 Bus 1: 2026-02-01 no km axle 2 right rotor 31.5 mm "3/4\" hose"`,
				`5 Bus 1: 2026-02-01 155000 km axle 1 right outer pad 3 mm tripped`,
			},
		},
		{
			name: "a row per axle, a column per position",
			text: "Sheet of February;;;;;\n;;;;;\nVehicle;Date;Axle;Left inner pad mm;Right inner pad mm;Right outer (1/32 in)\n" +
				"Bus 1;2026-02-01;1;7,4;-;9\nBus 1;2026-02-01;2;;8,0;1/4\n",
			kind: Readings,
			// 9/32 in = 7.14375 mm, 1/4 in = 6.35 mm.
			want: []string{
				"4 Bus 1: 2026-02-01 no km axle 1 left inner pad 7.4 mm",
				"4 Bus 1: 2026-02-01 no km axle 1 right outer pad 7.14375 mm (9 1/32 in)",
				"5 Bus 1: 2026-02-01 no km axle 2 right inner pad 8 mm",
				"5 Bus 1: 2026-02-01 no km axle 2 right outer pad 6.35 mm (1/4 in)",
			},
		},
		{
			name: "a row per vehicle",
			text: "vehicle,date,km,axle 1 left inner pad mm,A2 right lining mm,pad outer left axle 1 in mm\nBus 1,2026-02-01,155000,7.4,6.1,7.9\n",
			kind: Readings,
			want: []string{
				"2 Bus 1: 2026-02-01 155000 km axle 1 left inner pad 7.4 mm",
				"2 Bus 1: 2026-02-01 155000 km axle 2 right lining 6.1 mm",
				"2 Bus 1: 2026-02-01 155000 km axle 1 left outer pad 7.9 mm",
			},
		},
		{
			name: "front and rear of a vehicle known to have two axles",
			text: "vehicle,fleet,date,FL pad mm,RR pad mm\nVan 2,Hill Farms,2026-02-01,7.4,6.1\n",
			opt: Options{AxleCount: func(fleet, vehicle string) int {
				if fleet == "Hill Farms" && vehicle == "Van 2" {
					return 2
				}
				return 3
			}},
			kind: Readings,
			want: []string{
				"2 Van 2 of Hill Farms: 2026-02-01 no km axle 1 left pad 7.4 mm",
				"2 Van 2 of Hill Farms: 2026-02-01 no km axle 2 right pad 6.1 mm",
			},
		},
		{
			name: "fitments by a declared kind, value left to the specification",
			text: "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-01,155000,1,pad,,,\nBus 1,2026-02-01,155000,2,lining,left,,18.5\n",
			opt:  Options{Kind: Fitments},
			kind: Fitments,
			want: []string{
				"2 Bus 1: 2026-02-01 155000 km axle 1 pad 0 mm",
				"3 Bus 1: 2026-02-01 155000 km axle 2 left lining 18.5 mm",
			},
		},
		{
			name: "fitments by a header that only they have",
			text: "vehicle,date fitted,axle,part,thickness fitted (mm)\nBus 1,2026-02-01,1,pad,19\n",
			kind: Fitments,
			want: []string{"2 Bus 1: 2026-02-01 no km axle 1 pad 19 mm"},
		},
		{
			name: "neither header nor name tells fitments from readings",
			text: "vehicle,date,axle,part,value\nBus 1,2026-02-01,1,pad,19\n",
			kind: Readings,
			want: []string{"2 Bus 1: 2026-02-01 no km axle 1 pad 19 mm"},
			notes: []string{
				`0 note value "": no unit in the header: read as mm`,
				`0 note  "": read as readings: if these are parts fitted, hand it in as fitments`,
			},
		},
		{
			name: "dates in the order the caller declares",
			text: "vehicle,date,odometer_km\nBus 1,02/01/2026,1\nBus 1,3.1.26,2\nBus 1,2026-01-04,3\n",
			opt:  Options{DateOrder: "dmy"},
			kind: Odometer,
			want: []string{"2 Bus 1: 2026-01-02 1 km", "3 Bus 1: 2026-01-03 2 km", "4 Bus 1: 2026-01-04 3 km"},
		},
		{
			name: "dates in the order the header declares",
			text: "vehicle,date (mm/dd/yyyy),odometer_km\nBus 1,02/01/2026,1\nBus 1,20260202,2\nBus 1,3 Feb 2026,3\nBus 1,2026/02/04,4\n",
			kind: Odometer,
			want: []string{"2 Bus 1: 2026-02-01 1 km", "3 Bus 1: 2026-02-02 2 km", "4 Bus 1: 2026-02-03 3 km", "5 Bus 1: 2026-02-04 4 km"},
		},
		{
			name:  "Windows-1252, declared separator",
			text:  "sep=|\nvehicle|date|odometer_km|colour\nF\xe4hre 1|2026-02-01|1|blue\nF\xe4hre 2|2026-02-01|2|\n",
			kind:  Odometer,
			want:  []string{"3 Fähre 1: 2026-02-01 1 km", "4 Fähre 2: 2026-02-01 2 km"},
			notes: []string{`0 note  "": no such column in a file of odometer, not read: "colour"`, `3 note  "": not in UTF-8: read as Windows-1252, which Western European spreadsheets write; check names with accents`},
		},
		{
			name: "byte order mark, no end of line at the end, a cell that was made safe",
			text: "\ufeffvehicle,date,odometer_km\n'=1,2026-02-01,1",
			kind: Odometer,
			want: []string{"2 =1: 2026-02-01 1 km"},
		},
		{
			name: "lines that end in a carriage return",
			text: "vehicle,date,odometer_km\rBus 1,2026-02-01,1\rBus 2,2026-02-01,1\r",
			kind: Odometer,
			want: []string{"2 Bus 1: 2026-02-01 1 km", "3 Bus 2: 2026-02-01 1 km"},
		},
		{
			name:  "an odometer's export that resembles absences",
			text:  "vehicle,date,odometer_km,site,from,to\nBus 1,2026-02-01,1,Quay,08:10,09:40\n",
			kind:  Odometer,
			want:  []string{"2 Bus 1: 2026-02-01 1 km"},
			notes: []string{`0 note  "": no such column in a file of odometer, not read: "site", "from", "to"`},
		},
		{
			name: "an odometer's export that says what the vehicles are",
			text: "vehicle,make,model,plate,year,date,odometer_km\nBus 1,Velquary,Strand 12,AB 1,2019,2026-02-01,1\n",
			kind: Odometer,
			want: []string{"2 Bus 1: 2026-02-01 1 km"},
			notes: []string{
				`0 note  "": no such column in a file of odometer, not read: "make", "model", "plate", "year"`,
				`0 note  "": read as odometer: if this is a list of vehicles, hand it in as vehicles`,
			},
		},
		{
			name:  "an odometer's export that says who wrote it down",
			text:  "vehicle,date,odometer_km,technician,note\nBus 1,2026-02-01,1,N. N.,wet\n",
			kind:  Odometer,
			want:  []string{"2 Bus 1: 2026-02-01 1 km"},
			notes: []string{`0 note  "": no such column in a file of odometer, not read: "technician", "note"`},
		},
		{
			name:  "an odometer's export of drives",
			text:  "vehicle,date,odometer_km,speed,begin,end,weight,item\nBus 1,2026-02-01,1,40,0,1,900,line 4\n",
			kind:  Odometer,
			want:  []string{"2 Bus 1: 2026-02-01 1 km"},
			notes: []string{`0 note  "": no such column in a file of odometer, not read: "speed", "begin", "end", "weight", "item"`},
		},
		{
			name: "readings that say what the vehicles are",
			text: "vehicle,depot,make,model,plate,year,date,axle 1 left inner pad mm\nBus 1,Quay,Velquary,Strand 12,AB 1,2019,2026-02-01,7.4\n",
			kind: Readings,
			want: []string{"2 Bus 1: 2026-02-01 no km axle 1 left inner pad 7.4 mm"},
			notes: []string{
				`0 note  "": no such column in a file of readings, not read: "depot", "make", "model", "plate", "year"`,
				`0 note  "": read as readings: if these are parts fitted, hand it in as fitments`,
				`0 note  "": read as readings: if this is a list of vehicles, hand it in as vehicles`,
			},
		},
		{
			name:  "a list of vehicles with their odometer of a day",
			text:  "vehicle,make,plate,category,date,odometer_km\nBus 1,Velquary,AB 1,M3,2026-02-01,1\n",
			kind:  Vehicles,
			want:  []string{`2 Bus 1: depot "" plate "AB 1" M3 "Velquary" "" 0 ""`},
			notes: []string{`0 note  "": no such column in a file of vehicles, not read: "date", "odometer_km"`},
		},
		{
			name:  "planned visits with the odometer of no day",
			text:  "vehicle,service due,what,odometer_km\nBus 1,2026-02-01,service,1\n",
			kind:  PlannedVisits,
			want:  []string{`2 Bus 1: comes in 2026-02-01, "service", depot ""`},
			notes: []string{`0 note  "": no such column in a file of planned_visits, not read: "odometer_km"`},
		},
		{
			name:  "planned visits with the mileage at which they are due",
			text:  "vehicle,date,what,location,mileage (km)\nBus 1,2026-12-01,service,Quay,90000\n",
			kind:  PlannedVisits,
			want:  []string{`2 Bus 1: comes in 2026-12-01, "service", depot "Quay"`},
			notes: []string{`0 note  "": no such column in a file of planned_visits, not read: "mileage (km)"`},
		},
		{
			name:  "planned visits by no more columns than an odometer has",
			text:  "vehicle,date,what,mileage\nBus 1,2026-12-01,service,90000\n",
			kind:  PlannedVisits,
			want:  []string{`2 Bus 1: comes in 2026-12-01, "service", depot ""`},
			notes: []string{`0 note  "": no such column in a file of planned_visits, not read: "mileage"`},
		},
		{
			name:  "a trip log",
			text:  "vehicle,date,odometer_km,location,purpose\nBus 1,2026-02-01,1,Quay,line 4\n",
			kind:  Odometer,
			want:  []string{"2 Bus 1: 2026-02-01 1 km"},
			notes: []string{`0 note  "": no such column in a file of odometer, not read: "location", "purpose"`},
		},
		{
			name: "readings that say what and where",
			text: "vehicle,date,axle 1 left inner pad mm,what,location\nBus 1,2026-02-01,7.4,check,Quay\n",
			kind: Readings,
			want: []string{"2 Bus 1: 2026-02-01 no km axle 1 left inner pad 7.4 mm"},
			notes: []string{
				`0 note  "": no such column in a file of readings, not read: "what", "location"`,
				`0 note  "": read as readings: if these are parts fitted, hand it in as fitments`,
			},
		},
		{
			name: "JSON",
			text: `[{"vehicle":"Bus 1","date":"2026-02-01","axle":1,"part":"pad","side":"left","face":"inner","value_mm":7.4},
				{"date":"2026-02-01","vehicle":114,"axle":2,"part":"pad","value_mm":6,"note":"wet","odometer_km":null}]`,
			kind: Readings,
			want: []string{
				"1 Bus 1: 2026-02-01 no km axle 1 left inner pad 7.4 mm",
				`2 114: 2026-02-01 no km axle 2 pad 6 mm "wet"`,
			},
			notes: []string{`0 note  "": read as readings: if these are parts fitted, hand it in as fitments`},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, r := mustRead(t, c.text, c.opt)
			if r.Kind() != c.kind {
				t.Errorf("got kind %s, want %s", r.Kind(), c.kind)
			}
			if d := cmp.Diff(c.want, showAll(rows)); d != "" {
				t.Errorf("rows (-want +got):\n%s", d)
			}
			if d := cmp.Diff(c.notes, showProblems(r.Problems())); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
			if r.Refused() != 0 {
				t.Errorf("got %d rows refused, want none", r.Refused())
			}
		})
	}
}

func TestUTF16(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("\xff\xfe")
	for _, c := range "vehicle\tdate\todometer_km\r\nBus ä\t2026-02-01\t1\r\n" {
		b.Write([]byte{byte(c), byte(c >> 8)})
	}
	rows, _ := mustRead(t, b.String(), Options{})
	if d := cmp.Diff([]string{"2 Bus ä: 2026-02-01 1 km"}, showAll(rows)); d != "" {
		t.Error(d)
	}
}
