package ingest

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"brakewear/internal/fleet"
)

// Bounds of a workbook. It must be held whole, packed, since its directory
// stands at its end; a million readings pack into about 40 MB. Unpacked it may
// be unpackRatio times as large: tables pack to a tenth or a twentieth, a file
// made to fill a disk to a thousandth.
const (
	maxWorkbook = 128 << 20
	minUnpacked = 64 << 20
	maxUnpacked = 1 << 30
	unpackRatio = 100
	// inMemory is the size from which a sheet is unpacked to a temporary file.
	inMemory = 16 << 20
)

// xlsxSource reads one sheet of a workbook row by row.
type xlsxSource struct {
	file *excelize.File
	rows *excelize.Rows
	name string
	line int
}

// openXLSX takes the first visible sheet that has a header of ours.
func (r *Reader) openXLSX(in io.Reader) error {
	packed, err := io.ReadAll(io.LimitReader(in, maxWorkbook+1))
	if err != nil {
		return readError(r.name, err)
	}
	if len(packed) > maxWorkbook {
		return fleet.Invalidf("%s: a workbook larger than %s: split it, or save it as CSV", r.name, size(maxWorkbook))
	}
	limit := min(max(minUnpacked, unpackRatio*int64(len(packed))), maxUnpacked)
	hidden, err := checkWorkbook(packed, limit)
	if err != nil {
		return fleet.Invalidf("%s: %s", r.name, valid(err.Error()))
	}
	file, err := excelize.OpenReader(bytes.NewReader(packed), excelize.Options{
		RawCellValue:      true, // dates come as numbers, not as the sheet shows them
		UnzipSizeLimit:    limit,
		UnzipXMLSizeLimit: inMemory,
	})
	if err != nil {
		return fleet.Invalidf("%s: this workbook cannot be read (%s): open it in a spreadsheet program and save it as .xlsx again, or as CSV", r.name, valid(err.Error()))
	}
	sheet, header, err := r.chooseSheet(file)
	if err != nil {
		return errors.Join(err, file.Close())
	}
	if b := hidden[sheetPart(packed, sheet)]; b != nil {
		b.note(r.lay, header)
	}
	r.form = form{exact: true}
	r.dates.serial, r.dates.from = true, serial1900
	if props, err := file.GetWorkbookProps(); err == nil && props.Date1904 != nil && *props.Date1904 {
		r.dates.from = serial1904
	}
	return nil
}

// chooseSheet finds the sheet to read, with the line of its header, and notes which
// others are left out.
func (r *Reader) chooseSheet(file *excelize.File) (chosen string, header int, err error) {
	var worst *noHeaderError
	var left []string
	for _, sheet := range file.GetSheetList() {
		if visible, err := file.GetSheetVisible(sheet); err == nil && !visible {
			continue
		}
		src, err := newXLSXSource(file, sheet, r.name)
		if err != nil {
			continue // a sheet of charts has no rows
		}
		lay, _, err := findHeader(src, r.opt.Kind, r.name+", sheet "+sheet)
		if err == nil {
			if r.lay == nil {
				r.lay, r.src = lay, src
				chosen, header = sheet, src.line
				continue
			}
			left = append(left, sheet)
		}
		src.rows.Close() // only read from: its error says nothing
		if e, ok := errors.AsType[*noHeaderError](err); ok && (worst == nil || e.matched > worst.matched) {
			worst = e
		}
	}
	switch {
	case r.lay == nil && worst == nil:
		return "", 0, fleet.Invalidf("%s: the workbook has no sheet with rows", r.name)
	case r.lay == nil:
		return "", 0, worst
	case len(left) > 0:
		r.lay.note("", "only the first sheet that fits was read; hand in the others as files of their own: %s", strings.Join(left, ", "))
	}
	return chosen, header, nil
}

func newXLSXSource(file *excelize.File, sheet, name string) (*xlsxSource, error) {
	rows, err := file.Rows(sheet)
	if err != nil {
		return nil, err
	}
	return &xlsxSource{file: file, rows: rows, name: name}, nil
}

func (s *xlsxSource) next() (record, error) {
	for s.rows.Next() {
		s.line++
		cells, err := s.rows.Columns()
		if err != nil {
			return record{}, s.unreadable(err)
		}
		for _, c := range cells {
			if strings.TrimSpace(c) != "" {
				return record{line: s.line, cells: cells}, nil
			}
		}
	}
	if err := s.rows.Error(); err != nil {
		return record{}, s.unreadable(err)
	}
	return record{}, io.EOF
}

func (s *xlsxSource) unreadable(err error) error {
	return fleet.Invalidf("%s, row %d: this workbook cannot be read (%s): open it in a spreadsheet program and save it again", s.name, s.line, valid(err.Error()))
}

// valid makes UTF-8 of a message that repeats bytes of a file.
func valid(s string) string { return strings.ToValidUTF8(s, "\ufffd") }

func (s *xlsxSource) Close() error {
	return errors.Join(s.rows.Close(), s.file.Close())
}

// checkWorkbook unpacks a workbook once, to nothing, before it is read: its
// directory may lie about sizes, and excelize takes a sheet that breaks off
// for one that has ended, by which rows would be lost without a word. What a sheet
// hides is found on the way, by the name of its part.
func checkWorkbook(packed []byte, limit int64) (map[string]*blanks, error) {
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return nil, errors.New("the file is damaged or was not sent whole: send it again")
	}
	hidden := map[string]*blanks{}
	for _, f := range z.File {
		name := strings.ToLower(strings.ReplaceAll(f.Name, "\\", "/"))
		if name == "mimetype" {
			return nil, errors.New("this is not an .xlsx workbook: save it as .xlsx or CSV")
		}
		part, err := f.Open()
		if err != nil {
			return nil, fmt.Errorf("%s in it is damaged or locked: save it again without a password", f.Name)
		}
		bounded := &io.LimitedReader{R: part, N: limit + 1}
		if strings.HasPrefix(name, "xl/worksheets/") && strings.HasSuffix(name, ".xml") {
			b := &blanks{}
			hidden[f.Name] = b
			err = wellFormed(bounded, b.see)
		} else if name == "xl/sharedstrings.xml" {
			err = wellFormed(bounded, func(xml.Token) {})
		}
		if err == nil {
			_, err = io.Copy(io.Discard, bounded)
		}
		part.Close() // only read from
		if limit = bounded.N - 1; limit < 0 {
			return nil, fmt.Errorf("it unpacks to far more than a table of its size does: save it as CSV")
		}
		if err != nil {
			return nil, fmt.Errorf("%s in it is damaged (%v): open it in a spreadsheet program and save it again", f.Name, err)
		}
	}
	if len(hidden) == 0 {
		return nil, errors.New("this is not an .xlsx workbook: save it as .xlsx or CSV")
	}
	return hidden, nil
}

// wellFormed reads XML to its end, and shows each token.
func wellFormed(r io.Reader, see func(xml.Token)) error {
	dec := xml.NewDecoder(r)
	dec.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil }
	depth := 0
	for {
		t, err := dec.RawToken()
		if errors.Is(err, io.EOF) && depth == 0 {
			return nil
		}
		if err != nil {
			return err
		}
		see(t)
		switch t.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			depth--
		}
	}
}
