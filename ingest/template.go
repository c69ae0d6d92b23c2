package ingest

import (
	"encoding/csv"
	"fmt"
	"io"

	"github.com/xuri/excelize/v2"

	"brakewear/internal/fleet"
)

// Formats of templates.
var Formats = []string{"csv", "xlsx"}

// Template writes an empty file of kind k to fill in; format is "csv" or
// "xlsx". A workbook explains its columns on a second sheet.
func Template(w io.Writer, k Kind, format string) error {
	cols := columns[k]
	if cols == nil {
		return fleet.NotFoundf("no kind of file is called %q: want "+kindNames, string(k))
	}
	switch format {
	case "csv":
		out := csv.NewWriter(w)
		header := make([]string, len(cols))
		for i, c := range cols {
			header[i] = c.Name
		}
		out.UseCRLF = true // RFC 4180, section 2
		if err := out.Write(header); err != nil {
			return fmt.Errorf("write template: %w", err)
		}
		out.Flush()
		return out.Error()
	case "xlsx":
		if err := workbook(w, k, cols); err != nil {
			return fmt.Errorf("write template: %w", err)
		}
		return nil
	}
	return fleet.NotFoundf("no template has the format %q: want csv or xlsx", format)
}

func workbook(w io.Writer, k Kind, cols []Column) (err error) {
	f := excelize.NewFile()
	defer f.Close() // nothing was unpacked
	sheet := string(k)
	if err := f.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	if _, err := f.NewSheet("Columns"); err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	day, err := f.NewStyle(&excelize.Style{CustomNumFmt: new("yyyy-mm-dd")})
	if err != nil {
		return err
	}
	text, err := f.NewStyle(&excelize.Style{NumFmt: 49}) // "@", ISO/IEC 29500-1, 18.8.30
	if err != nil {
		return err
	}
	set := func(sheet string, row int, cells ...any) error {
		at, err := excelize.CoordinatesToCellName(1, row)
		if err != nil {
			return err
		}
		return f.SetSheetRow(sheet, at, &cells)
	}
	var header []any
	if err := set("Columns", 1, "column", "needed", "unit", "example", "what to write"); err != nil {
		return err
	}
	for i, c := range cols {
		header = append(header, c.Name)
		letters, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		style := 0
		switch c.field {
		case fDate, fFirst, fLast:
			style = day
		case fVehicle, fPlate, fNote, fValue:
			// As text: 0012 keeps its zeros, and 9/32 does not become a date.
			style = text
		}
		if style != 0 {
			if err := f.SetColStyle(sheet, letters, style); err != nil {
				return err
			}
		}
		if err := f.SetColWidth(sheet, letters, letters, float64(max(12, len(c.Name)+2))); err != nil {
			return err
		}
		needed := ""
		if c.Required {
			needed = "yes"
		}
		if err := set("Columns", i+2, c.Name, needed, c.Unit, c.Example, c.Help); err != nil {
			return err
		}
	}
	if err := set(sheet, 1, header...); err != nil {
		return err
	}
	for _, s := range []string{sheet, "Columns"} {
		if err := f.SetRowStyle(s, 1, 1, bold); err != nil {
			return err
		}
		if err := f.SetPanes(s, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
			return err
		}
	}
	_, err = f.WriteTo(w)
	return err
}
