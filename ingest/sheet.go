package ingest

import (
	"fmt"
	"io"
	"math"

	"github.com/xuri/excelize/v2"

	"brakewear/internal/fleet"
)

// Sheet writes a workbook of one sheet, row by row. Text is text whatever it
// begins with: a spreadsheet takes none of it for a formula.
type Sheet struct {
	f    *excelize.File
	w    *excelize.StreamWriter
	day  int // style of a date
	rows int
}

// NewSheet begins a workbook whose sheet has this name and header.
func NewSheet(name string, head []string) (*Sheet, error) {
	f := excelize.NewFile()
	s := &Sheet{f: f}
	err := f.SetSheetName("Sheet1", name)
	if err == nil {
		s.day, err = f.NewStyle(&excelize.Style{CustomNumFmt: new("yyyy-mm-dd")})
	}
	var bold int
	if err == nil {
		bold, err = f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	}
	if err == nil {
		s.w, err = f.NewStreamWriter(name)
	}
	if err == nil {
		err = s.w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
	}
	for i, h := range head {
		if err == nil {
			err = s.w.SetColWidth(i+1, i+1, float64(max(12, len(h)+2)))
		}
	}
	if err == nil {
		cells := make([]any, len(head))
		for i, h := range head {
			cells[i] = excelize.Cell{StyleID: bold, Value: h}
		}
		err = s.add(cells)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("write workbook: %w", err)
	}
	return s, nil
}

// Row adds a row of text, numbers, truths and fleet.Dates; a nil, a nil date
// and a number that is none are blank.
func (s *Sheet) Row(cells ...any) error {
	row := make([]any, len(cells))
	for i, c := range cells {
		switch v := c.(type) {
		case fleet.Date:
			row[i] = excelize.Cell{StyleID: s.day, Value: v.Time()}
		case *fleet.Date:
			if v != nil {
				row[i] = excelize.Cell{StyleID: s.day, Value: v.Time()}
			}
		case float64:
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				row[i] = v
			}
		case nil, string, bool, int, int64:
			row[i] = v
		default:
			row[i] = fmt.Sprint(v)
		}
	}
	if err := s.add(row); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

func (s *Sheet) add(row []any) error {
	s.rows++
	at, err := excelize.CoordinatesToCellName(1, s.rows)
	if err != nil {
		return err
	}
	return s.w.SetRow(at, row)
}

// WriteTo ends the workbook and writes it.
func (s *Sheet) WriteTo(w io.Writer) (int64, error) {
	defer s.f.Close()
	if err := s.w.Flush(); err != nil {
		return 0, fmt.Errorf("write workbook: %w", err)
	}
	n, err := s.f.WriteTo(w)
	if err != nil {
		return n, fmt.Errorf("write workbook: %w", err)
	}
	return n, nil
}

// Close gives a workbook up that is not to be written.
func (s *Sheet) Close() error { return s.f.Close() }
