package dashboard

import (
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// csvDownload writes rows as a CSV file (RFC 4180) that a spreadsheet opens as
// data: no cell is taken for a formula. Nothing is sent before the first
// row, so that an error until then is still a page.
type csvDownload struct {
	c     *gin.Context
	name  string
	head  []string
	w     *csv.Writer
	cells []string
}

func (d *csvDownload) start() error {
	if d.w != nil {
		return nil
	}
	d.c.Header("Content-Type", "text/csv; charset=utf-8; header=present")
	d.c.Header("Content-Disposition", fmt.Sprintf("attachment; filename=%q", d.name))
	d.w = csv.NewWriter(d.c.Writer)
	d.w.UseCRLF = true
	return d.w.Write(d.head)
}

// figure is a cell that is no text: it may begin with a minus.
type figure string

func (d *csvDownload) row(cells ...any) error {
	if err := d.start(); err != nil {
		return err
	}
	d.cells = d.cells[:0]
	for _, s := range cells {
		if f, ok := s.(figure); ok {
			d.cells = append(d.cells, string(f))
		} else {
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
	return d.w.Error()
}

var dueColumns = []string{
	"vehicle", "plate", "fleet", "depot", "axle", "part", "side", "face",
	"thickness_mm", "new_mm", "limit_mm", "rate_mm_per_10000km", "km_left",
	"limit_date_p05", "limit_date_p10", "limit_date_p50", "limit_date_p90", "limit_date_p95",
	"book_by", "past_limit", "readings", "as_of", "width80_days", "width80_if_measured", "warnings",
}

// dueCSV sends the whole list of a filter, however many pages it has.
func (d *Dashboard) dueCSV(c *gin.Context) error {
	f, err := d.dueFilter(c)
	if err != nil {
		return err
	}
	today := d.svc.Today()
	out := csvDownload{c: c, name: "due-soon-" + today.String() + ".csv", head: dueColumns}
	err = d.svc.DB.EachDue(c.Request.Context(), d.scope(c), f.query(today, ""), func(r store.DueRow) error {
		var warnings []string
		for _, w := range r.Warnings {
			warnings = append(warnings, w.Text)
		}
		return out.row(
			r.Vehicle, r.Plate, r.Fleet, r.Depot, r.Axle,
			r.Position.Part, r.Position.Side, r.Position.Face,
			cell(r.ThicknessMM, 2), cell(r.NewMM, 2), cell(r.LimitMM, 2), cell(r.RatePer10000, 3), cell(r.KmLeft, 0),
			dateCell(r.P05), dateCell(r.P10), dateCell(r.P50), dateCell(r.P90), dateCell(r.P95),
			dateCell(r.BookBy), r.PastLimit, r.Readings, r.AsOf,
			cell(r.Width80Days, 0), cell(r.Width80IfMeasured, 0), strings.Join(warnings, "; "))
	})
	if err != nil {
		return err
	}
	return out.finish()
}

// cell is a number for a spreadsheet; blank where it is not known.
func cell(x float64, decimals int) figure {
	if !isNumber(x) {
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
