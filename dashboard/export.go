package dashboard

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// csvDownload writes rows as a CSV file (RFC 4180) that a spreadsheet opens as
// data: no cell is taken for a formula. Nothing is sent before the first
// row, so that an error until then is still a page.
type csvDownload struct {
	c     *gin.Context
	name  string
	head  []string
	body  io.WriteCloser
	w     *csv.Writer
	cells []string
}

func (d *csvDownload) start() error {
	if d.w != nil {
		return nil
	}
	d.c.Header("Content-Type", "text/csv; charset=utf-8; header=present")
	d.c.Header("Content-Disposition", fmt.Sprintf("attachment; filename=%q", d.name))
	d.body = web.Stream(d.c)
	d.w = csv.NewWriter(d.body)
	d.w.UseCRLF = true
	return d.w.Write(d.head)
}

// download writes a list row by row as a file.
type download interface {
	row(cells ...any) error
	finish() error
}

// export sends a list as a file whose format is the end of the address asked for:
// name-2026-03-01.csv or .xlsx. rows hands its rows over.
func (d *Dashboard) export(c *gin.Context, name string, head []string, rows func(row func(cells ...any) error) error) error {
	if err := d.tellExport(c); err != nil {
		return err
	}
	file := name + "-" + d.svc.Today().String()
	var out download = &csvDownload{c: c, name: file + ".csv", head: head}
	if strings.HasSuffix(c.Request.URL.Path, ".xlsx") {
		sheet, err := ingest.NewSheet(name, head)
		if err != nil {
			return err
		}
		defer sheet.Close() // a large one that comes to nothing would leave a temporary file
		out = &xlsxDownload{c, file + ".xlsx", sheet}
	}
	if err := rows(out.row); err != nil {
		return err
	}
	return out.finish()
}

// tellExport has the log of changes say who takes which list out.
func (d *Dashboard) tellExport(c *gin.Context) error {
	return d.svc.DB.TellExport(c.Request.Context(), c.Request.URL.RequestURI())
}

// xlsxDownload writes rows as a workbook, which is sent when it is whole.
type xlsxDownload struct {
	c     *gin.Context
	name  string
	sheet *ingest.Sheet
}

func (d *xlsxDownload) row(cells ...any) error {
	for i, c := range cells {
		if f, ok := c.(figure); ok {
			cells[i] = nil
			if x, err := strconv.ParseFloat(string(f), 64); err == nil {
				cells[i] = x
			}
		}
	}
	return d.sheet.Row(cells...)
}

func (d *xlsxDownload) finish() error {
	d.c.Header("Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
	d.c.Header("Content-Disposition", fmt.Sprintf("attachment; filename=%q", d.name))
	_, err := d.sheet.WriteTo(d.c.Writer) // it is compressed already, and may be large
	return err
}

// figure is a cell that is no text: it may begin with a minus.
type figure string

func (d *csvDownload) row(cells ...any) error {
	if err := d.start(); err != nil {
		return err
	}
	d.cells = d.cells[:0]
	for _, s := range cells {
		switch v := s.(type) {
		case figure:
			d.cells = append(d.cells, string(v))
		case *fleet.Date:
			d.cells = append(d.cells, dateCell(v))
		default:
			d.cells = append(d.cells, ingest.CSVCell(fmt.Sprint(s)))
		}
	}
	return d.w.Write(d.cells)
}

func (d *csvDownload) finish() error {
	if err := d.start(); err != nil {
		return err
	}
	d.w.Flush()
	if err := d.w.Error(); err != nil {
		return err
	}
	return d.body.Close()
}

var dueColumns = []string{
	"vehicle", "plate", "fleet", "depot", "axle", "part", "side", "face",
	"thickness_mm", "new_mm", "limit_mm", "rate_mm_per_10000km", "km_left",
	"limit_date_p05", "limit_date_p10", "limit_date_p50", "limit_date_p90", "limit_date_p95",
	"book_by", "past_limit", "readings", "as_of", "width80_days", "width80_if_measured", "warnings",
	"booked_for", "booked_at", "cost_of_visit",
}

// dueFile sends the whole list of a filter, however many pages it has.
func (d *Dashboard) dueFile(c *gin.Context) error {
	f, err := d.dueFilter(c)
	if err != nil {
		return err
	}
	today := d.svc.Today()
	booked, err := d.svc.DB.AllBookedAxles(c.Request.Context(), d.scope(c))
	if err != nil {
		return err
	}
	return d.export(c, "to-book", dueColumns, func(row func(...any) error) error {
		return d.svc.DB.EachDue(c.Request.Context(), d.scope(c), f.query(today, ""), func(r store.DueRow) error {
			var warnings []string
			for _, w := range r.Warnings {
				warnings = append(warnings, w.Text)
			}
			var day *fleet.Date
			b, ok := booked[store.AxleKey{VehicleID: r.VehicleID, Axle: r.Axle}]
			if ok {
				day = &b.Day
			}
			return row(
				r.Vehicle, r.Plate, r.Fleet, r.Depot, r.Axle,
				r.Position.Part, r.Position.Side, r.Position.Face,
				cell(r.ThicknessMM, 2), cell(r.NewMM, 2), cell(r.LimitMM, 2), cell(r.RatePer10000, 3), cell(r.KmLeft, 0),
				r.P05, r.P10, r.P50, r.P90, r.P95,
				r.BookBy, r.PastLimit, r.Readings, r.AsOf,
				cell(r.Width80Days, 0), cell(r.Width80IfMeasured, 0), strings.Join(warnings, "; "),
				day, b.Depot, amountCell(b.Cost))
		})
	})
}

// cell is a number for a spreadsheet; blank where it is not known.
func cell(x float64, decimals int) figure {
	if !units.IsNumber(x) {
		return ""
	}
	return figure(strconv.FormatFloat(x, 'f', decimals, 64))
}

func dateCell(d *fleet.Date) string {
	if d == nil {
		return ""
	}
	return d.String()
}
