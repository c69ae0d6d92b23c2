package ingest

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"path"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// blanks are cells of a sheet that read as blank where a person sees a value.
type blanks struct {
	merged   areas // but the first cell of each
	formulas areas // without a stored result

	row     int
	cell    string // the last in the row that says where it is
	since   int    // cells after that, which do not
	waiting bool   // for the result of a formula
}

// areas are cells, or rectangles of them.
type areas struct {
	kept []area
	last int // row of more than are kept
}

// area names cells as the sheet does, with the last of their rows.
type area struct {
	name string
	row  int
}

// Bounds of what is kept of a sheet's areas, and of what a message names of them:
// enough to see what they have in common.
const (
	maxAreas = 1000
	maxNamed = 4
	maxRef   = 24 // signs: the longest is XFD1048575:XFD1048576
)

func (a *areas) add(name string, row int) {
	if len(a.kept) == maxAreas {
		a.last = max(a.last, row)
		return
	}
	a.kept = append(a.kept, area{fmt.Sprintf("%.*s", maxRef, name), row})
}

// from names those that reach down to a row or below it, "" when there are none.
func (a *areas) from(row int) string {
	var names []string
	more := 0
	for _, k := range a.kept {
		switch {
		case k.row < row:
		case len(names) == maxNamed:
			more++
		default:
			names = append(names, k.name)
		}
	}
	if a.last >= row {
		return strings.Join(append(names, fmt.Sprintf("others as far down as row %d", a.last)), ", ")
	}
	s := strings.Join(names, ", ")
	if more > 0 {
		s += fmt.Sprintf(" and %d more", more)
	}
	return s
}

// see takes one token of the sheet's XML.
func (b *blanks) see(t xml.Token) {
	switch e := t.(type) {
	case xml.StartElement:
		switch e.Name.Local {
		case "row":
			b.row++
			b.cell, b.since = "", 0
			if n, err := strconv.Atoi(attr(e, "r")); err == nil {
				b.row = n
			}
		case "c":
			b.since++
			if r := attr(e, "r"); r != "" {
				b.cell, b.since = r, 0
			}
		case "f":
			b.waiting = true
		case "v", "is":
			b.waiting = false
		case "mergeCell":
			name := attr(e, "ref")
			_, last, _ := strings.Cut(name, ":")
			if n, err := strconv.Atoi(strings.TrimLeft(last, "ABCDEFGHIJKLMNOPQRSTUVWXYZ")); err == nil {
				b.merged.add(name, n)
			}
		}
	case xml.EndElement:
		if e.Name.Local == "c" {
			if b.waiting {
				b.formulas.add(b.name(), b.row)
			}
			b.waiting = false
		}
	}
}

// name is that of the cell at hand. Cells need not say where they are: one that does
// not is right of the one before.
func (b *blanks) name() string {
	if b.since == 0 {
		return b.cell
	}
	col, _, err := excelize.CellNameToCoordinates(b.cell)
	if err != nil {
		col = 0
	}
	name, err := excelize.CoordinatesToCellName(col+b.since, b.row)
	if err != nil {
		name = fmt.Sprintf("row %d", b.row)
	}
	return name
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// note says which cells from the header's row on come as blank.
func (b *blanks) note(l *layout, header int) {
	if s := b.merged.from(header); s != "" {
		l.note("", "merged cells have their value in the first of them, the others were read as blank: part them and fill each in: %s", s)
	}
	if s := b.formulas.from(header); s != "" {
		l.note("", "formulas without a stored result were read as blank: open the workbook in a spreadsheet program and save it again: %s", s)
	}
}

// sheetPart is the part of a workbook that holds a sheet, "" where that is not to
// be found.
func sheetPart(packed []byte, sheet string) string {
	const book = "xl/workbook.xml"
	var sheets struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"id,attr"`
		} `xml:"sheets>sheet"`
	}
	var rels struct {
		Rels []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:",attr"`
		} `xml:"Relationship"`
	}
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil || decode(z, book, &sheets) != nil || decode(z, "xl/_rels/workbook.xml.rels", &rels) != nil {
		return ""
	}
	for _, s := range sheets.Sheets {
		for _, rel := range rels.Rels {
			if s.Name != sheet || rel.ID != s.ID {
				continue
			}
			if at, ok := strings.CutPrefix(rel.Target, "/"); ok {
				return at
			}
			return path.Join(path.Dir(book), rel.Target)
		}
	}
	return ""
}

// decode reads a part of a workbook into v.
func decode(z *zip.Reader, name string, v any) error {
	in, err := z.Open(name)
	if err != nil {
		return err
	}
	defer in.Close() // only read from
	return xml.NewDecoder(in).Decode(v)
}
