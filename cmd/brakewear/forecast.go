package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

type forecastCmd struct {
	Axles    string `required:"" help:"Axles with their new and limit values." type:"existingfile" placeholder:"FILE"`
	Readings string `required:"" help:"Measured thicknesses." type:"existingfile" placeholder:"FILE"`
	Vehicles string `help:"Vehicles with category, model and duty, so that like can borrow from like." type:"existingfile" placeholder:"FILE"`
	Odometer string `help:"Odometer readings." type:"existingfile" placeholder:"FILE"`
	Fitments string `help:"Parts fitted." type:"existingfile" placeholder:"FILE"`
	AsOf     string `help:"Forecast as of this day, from what was known then; today unless given." placeholder:"2026-03-01"`
	Dates    string `help:"How the files write their dates, unless ISO or declared in their header: ${dates}." enum:",${dates}" default:""`
	Model    string `help:"Model to forecast with: ${models}." default:"${model}" enum:"${models}"`
	accepted
	told
	Format string `help:"How to print: table, csv or json." default:"table" enum:"table,csv,json"`
}

func (c forecastCmd) Help() string {
	return `Example:
  brakewear forecast --axles axles.csv --readings readings.csv --as-of 2026-03-01

Exit codes: 0 done, 1 failed, 2 the command line or a file cannot be read as meant,
3 done but rows were refused (they are listed on the error output).`
}

func (c forecastCmd) Run(e *env) (err error) {
	asOf, err := dayOr(c.AsOf, e)
	if err != nil {
		return err
	}
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	tell, err := c.reader()
	if err != nil {
		return err
	}
	// The files go the way of every reading, through an embedded database
	// that lasts as long as the command.
	db, done, err := temporary(e)
	if err != nil {
		return err
	}
	defer done()
	svc := e.service(db, c.Risk)
	svc.Model = c.Model

	refused, err := c.takeIn(e, svc, db)
	if err != nil {
		return err
	}
	if err := c.print(e, svc, asOf, tell); err != nil {
		return err
	}
	if refused {
		return errRefused
	}
	return nil
}

// takeIn imports the files; notes and refusals go to the error output, so
// that they never mix with the forecast.
func (c forecastCmd) takeIn(e *env, svc *pipeline.Service, db *store.DB) (refused bool, err error) {
	if c.Vehicles == "" {
		if err := svc.ImportVehiclesNamedIn(e.ctx, auth.AllFleets(), "command line", c.Axles); err != nil {
			return false, err
		}
	}
	for _, f := range []struct {
		name string
		kind ingest.Kind
	}{
		{c.Vehicles, ingest.Vehicles},
		{c.Axles, ingest.Axles},
		{c.Odometer, ingest.Odometer},
		{c.Fitments, ingest.Fitments},
		{c.Readings, ingest.Readings},
	} {
		if f.name == "" {
			continue
		}
		up, err := importCmd{Kind: string(f.kind), By: "command line", Dates: c.Dates}.file(e, svc, f.name)
		if err != nil {
			return refused, err
		}
		for _, p := range up.Problems {
			fmt.Fprintf(e.stderr, "%s: %s\n", up.Name, problemLine(p))
		}
		refused = refused || up.Refused > 0
	}
	return refused, nil
}

func (c forecastCmd) print(e *env, svc *pipeline.Service, asOf fleet.Date, tell units.Reader) error {
	p, ok := map[string]func(io.Writer) printer{
		"table": func(w io.Writer) printer { return newTable(w, tell) },
		"csv":   newCSV,
		"json":  newJSON,
	}[c.Format]
	if !ok {
		return fleet.Invalidf("format %q: want table, csv or json", c.Format)
	}
	out := p(e.stdout)
	if err := svc.Reports(e.ctx, auth.AllFleets(), asOf, out.report); err != nil {
		return err
	}
	return out.close()
}

// printer writes reports one after the other.
type printer interface {
	report(pipeline.Report) error
	close() error
}

// jsonPrinter writes one array, an object per line.
type jsonPrinter struct {
	w   io.Writer
	any bool
}

func newJSON(w io.Writer) printer { return &jsonPrinter{w: w} }

func (p *jsonPrinter) report(r pipeline.Report) error {
	sep := "[\n"
	if p.any {
		sep = ",\n"
	}
	p.any = true
	b, err := json.Marshal(r)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.w, "%s%s", sep, b)
	return err
}

func (p *jsonPrinter) close() error {
	end := "\n]\n"
	if !p.any {
		end = "[]\n"
	}
	_, err := io.WriteString(p.w, end)
	return err
}

// tablePrinter writes for people.
type tablePrinter struct {
	w    *tabwriter.Writer
	tell units.Reader
}

func newTable(w io.Writer, tell units.Reader) printer {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "VEHICLE\tAXLE\tFIRST TO WEAR OUT\tNOW\tLIMIT\t%s\t%s LEFT\tLIMIT LIKELY\t80 %% INTERVAL\tBOOK BY\tREADINGS\tNOTES\n",
		strings.ToUpper(tell.WearUnit()), strings.ToUpper(tell.DistanceUnit()))
	return tablePrinter{t, tell}
}

func (p tablePrinter) report(r pipeline.Report) error {
	place, part := "-", ""
	if r.Limiting != nil {
		place = fleet.Position{
			Part: fleet.Part(r.Limiting.Part),
			Side: fleet.Side(r.Limiting.Side),
			Face: fleet.Face(r.Limiting.Face),
		}.Within()
		part = string(r.Limiting.Part)
	}
	var left *float64
	if r.LimitKm.P50 != nil && r.OdometerKm != nil {
		x := p.tell.OfKm(*r.LimitKm.P50 - *r.OdometerKm)
		left = &x
	}
	var notes []string
	for _, w := range r.Warnings {
		notes = append(notes, strings.ReplaceAll(string(w.Code), "_", " "))
	}
	_, err := fmt.Fprintf(p.w, "%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s to %s\t%s\t%d\t%s\n",
		r.Vehicle, r.Axle, place,
		quantity(p.tell.Thickness, part, r.ThicknessMM), quantity(p.tell.Thickness, part, r.LimitMM), quantity(p.tell.Rate, part, r.Rate), number(left),
		date(r.LimitDate.P50), date(r.LimitDate.P10), date(r.LimitDate.P90), date(r.BookBy), r.Readings, strings.Join(notes, ", "))
	return err
}

func (p tablePrinter) close() error { return p.w.Flush() }

// csvPrinter writes for spreadsheets.
type csvPrinter struct{ w *csv.Writer }

func newCSV(w io.Writer) printer {
	c := csv.NewWriter(w)
	c.Write([]string{"vehicle", "axle", "as_of", "model", "part", "side", "face", "thickness_mm", "limit_mm",
		"rate_mm_per_10000km", "odometer_km", "limit_km_p10", "limit_km_p50", "limit_km_p90",
		"limit_date_p10", "limit_date_p50", "limit_date_p90", "book_by", "readings", "warnings"})
	return csvPrinter{c}
}

func (p csvPrinter) report(r pipeline.Report) error {
	var place pipeline.PlaceJSON
	if r.Limiting != nil {
		place = *r.Limiting
	}
	var codes []string
	for _, w := range r.Warnings {
		codes = append(codes, string(w.Code))
	}
	return p.w.Write([]string{ingest.CSVCell(r.Vehicle), strconv.Itoa(r.Axle), r.AsOf.String(), r.Model,
		string(place.Part), place.Side, place.Face,
		plain(r.ThicknessMM), plain(r.LimitMM), plain(r.Rate), plain(r.OdometerKm),
		plain(r.LimitKm.P10), plain(r.LimitKm.P50), plain(r.LimitKm.P90),
		day(r.LimitDate.P10), day(r.LimitDate.P50), day(r.LimitDate.P90), day(r.BookBy),
		strconv.Itoa(r.Readings), strings.Join(codes, " ")})
}

func (p csvPrinter) close() error {
	p.w.Flush()
	return p.w.Error()
}

// quantity is a measured value of a part for people, "-" when it is not known.
func quantity(say func(part string, x float64) string, part string, x *float64) string {
	if x == nil {
		return "-"
	}
	return say(part, *x)
}

// number prints x for people, "-" when it is not known.
func number(x *float64) string {
	if x == nil {
		return "-"
	}
	return strconv.FormatFloat(*x, 'f', 0, 64)
}

// date prints d for people, "-" when it is not known or too far off.
func date(d *fleet.Date) string {
	if d == nil {
		return "-"
	}
	return d.String()
}

// plain prints x for programs, blank when it is not known.
func plain(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', -1, 64)
}

func day(d *fleet.Date) string {
	if d == nil {
		return ""
	}
	return d.String()
}
