package demo

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
)

// Headers of the files. The first five are those that an import reads; the
// truth goes into a folder of its own.
const (
	vehiclesHeader = "vehicle,fleet,depot,plate,category,make,model,year,duty"
	axlesHeader    = "vehicle,axle,brake,pad_new_mm,pad_limit_mm,rotor_new_mm,rotor_limit_mm," +
		"lining_new_mm,lining_limit_mm,drum_new_mm,drum_limit_mm"
	readingsHeader = "vehicle,date,odometer_km,axle,part,side,face,value_mm,gauge,technician,note"
	odometerHeader = "vehicle,date,odometer_km"
	fitmentsHeader = "vehicle,date,odometer_km,axle,part,side,face,value_mm"

	truthVehiclesHeader = "vehicle,class,origin,entry_date"
	livesHeader         = "vehicle,axle,part,number,declared," +
		"fitted_date,fitted_km,fitted_displayed_km,removed_date,removed_km,removed_displayed_km," +
		"fitted_mm,new_mm,limit_mm,limit_date,limit_km,limit_displayed_km,first_side,first_face," +
		"rate_mm_per_10000km,group_rate_mm_per_10000km,drag_date,drag_side"
	positionsHeader = "vehicle,axle,part,number,side,face,start_mm,limit_date,limit_km,limit_displayed_km"
	typosHeader     = "vehicle,date,axle,part,side,face,kind,true_mm,meant_mm,written_mm"
	faultsHeader    = "vehicle,date,kind,km,meant_km,written_km"
	distanceHeader  = "vehicle,date,km,displayed_km"
	toComeHeader    = "vehicle,axle,number,date,odometer_km,part,side,face,value_mm,gauge"
)

// Names of the files, in the order in which an import wants them.
const (
	vehiclesFile = "vehicles.csv"
	axlesFile    = "axles.csv"
	odometerFile = "odometer.csv"
	fitmentsFile = "fitments.csv"
	readingsFile = "readings.csv"
)

// WriteCSV writes vehicles.csv, axles.csv, readings.csv, odometer.csv and
// fitments.csv into dir, and the truth behind them into its folder truth:
//
//	vehicles.csv  class and origin
//	lives.csv     one set of a part on an axle a row: fitted, removed, limit reached
//	positions.csv the same for each position
//	typos.csv     readings written down wrongly
//	odometer.csv  odometer values written down wrongly, and swapped clusters
//	distance.csv  true distance every 30 days
//	inspections-to-come.csv  what would have been read of each set of pads or
//	              linings had it stayed on, from its removal, or from the end of
//	              the records, until its limit; number is the set's in lives.csv
//	odometer-to-come.csv  odometer values that would be read after the records
//
// km go on where a cluster is swapped, displayed_km are what the dashboard of
// that day shows. A blank date has not come within HorizonYears.
func WriteCSV(dir string, opt Options) error {
	opt.ToCome = true
	return writeCSV(dir, Generate(opt))
}

func writeCSV(dir string, vehicles iter.Seq[*Vehicle]) (err error) {
	if err := os.MkdirAll(filepath.Join(dir, "truth"), 0o755); err != nil {
		return fleet.Invalidf("cannot make the folder for the files: %v", err)
	}
	var files []*table
	defer func() {
		for _, f := range files {
			// The first fault is told alone: a full disk has the same for each file.
			err = cmp.Or(err, f.close())
		}
	}()
	open := func(name, header string) *table {
		if err != nil {
			return nil
		}
		name = filepath.Join(dir, name)
		file, fault := os.Create(name)
		if fault != nil {
			err = fmt.Errorf("write simulated files: %w", fault)
			return nil
		}
		f := newTable(name, file, header)
		f.file = file
		files = append(files, f)
		return f
	}
	rec := records{
		vehicles: open(vehiclesFile, vehiclesHeader),
		axles:    open(axlesFile, axlesHeader),
		readings: open(readingsFile, readingsHeader),
		odometer: open(odometerFile, odometerHeader),
		fitments: open(fitmentsFile, fitmentsHeader),
	}
	tr := truthTables{
		vehicles:  open("truth/vehicles.csv", truthVehiclesHeader),
		lives:     open("truth/lives.csv", livesHeader),
		positions: open("truth/positions.csv", positionsHeader),
		typos:     open("truth/typos.csv", typosHeader),
		odometer:  open("truth/odometer.csv", faultsHeader),
		distance:  open("truth/distance.csv", distanceHeader),
		toCome:    open("truth/inspections-to-come.csv", toComeHeader),
		fuel:      open("truth/odometer-to-come.csv", odometerHeader),
	}
	if err != nil {
		return err
	}
	for v := range vehicles {
		rec.write(v)
		tr.write(v)
		if err := rec.readings.err(); err != nil { // a full disk ends a long run early
			return err
		}
	}
	return nil
}

// table writes one CSV file.
type table struct {
	name   string
	w      *bufio.Writer
	file   io.Closer // nil: nothing to close
	line   []byte
	failed error
}

func newTable(name string, w io.Writer, header string) *table {
	t := &table{name: name, w: bufio.NewWriterSize(w, 1<<18)}
	_, t.failed = t.w.WriteString(header + "\n")
	return t
}

func (t *table) err() error {
	if t.failed != nil {
		return fmt.Errorf("write %s: %w", t.name, t.failed)
	}
	return nil
}

func (t *table) close() error {
	if err := t.w.Flush(); t.failed == nil {
		t.failed = err
	}
	if t.file != nil {
		if err := t.file.Close(); t.failed == nil {
			t.failed = err
		}
	}
	return t.err()
}

// Cells are appended to a line, which end writes out.

func (t *table) text(s string) *table {
	if strings.ContainsAny(s, ",\"\r\n") {
		s = `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	t.line = append(append(t.line, s...), ',')
	return t
}

func (t *table) int(n int) *table {
	t.line = append(strconv.AppendInt(t.line, int64(n), 10), ',')
	return t
}

func (t *table) blank(n int) *table {
	for range n {
		t.line = append(t.line, ',')
	}
	return t
}

func (t *table) date(d fleet.Date) *table {
	t.line = append(d.Time().AppendFormat(t.line, "2006-01-02"), ',')
	return t
}

// number writes the shortest decimal.
func (t *table) number(x float64) *table {
	t.line = append(strconv.AppendFloat(t.line, x, 'f', -1, 64), ',')
	return t
}

func (t *table) fixed(x float64, decimals int) *table {
	t.line = append(strconv.AppendFloat(t.line, x, 'f', decimals, 64), ',')
	return t
}

func (t *table) km(km *float64) *table {
	if km == nil {
		return t.blank(1)
	}
	return t.number(*km)
}

func (t *table) position(p fleet.Position) *table {
	return t.int(p.Axle).text(string(p.Part)).text(string(p.Side)).text(string(p.Face))
}

func (t *table) moment(m Moment) *table {
	if !m.Known {
		return t.blank(3)
	}
	return t.date(m.Date).fixed(m.Km, 1).fixed(m.DisplayedKm, 1)
}

func (t *table) end() {
	t.line[len(t.line)-1] = '\n'
	if t.failed == nil {
		_, t.failed = t.w.Write(t.line)
	}
	t.line = t.line[:0]
}
