package ingest

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"brakewear/internal/fleet"
	"brakewear/internal/golden"
)

// book makes a workbook of sheets, each a table of cells.
func book(t testing.TB, change func(f *excelize.File), sheets ...[][]any) []byte {
	t.Helper()
	f := excelize.NewFile()
	for i, rows := range sheets {
		name := []string{"Sheet1", "Sheet2", "Sheet3"}[i]
		if i > 0 {
			if _, err := f.NewSheet(name); err != nil {
				t.Fatal(err)
			}
		}
		for j, row := range rows {
			at, _ := excelize.CoordinatesToCellName(1, j+1)
			if err := f.SetSheetRow(name, at, &row); err != nil {
				t.Fatal(err)
			}
		}
	}
	if change != nil {
		change(f)
	}
	var b bytes.Buffer
	if _, err := f.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var odoRows = [][]any{{"vehicle", "date", "odometer_km"}, {"Bus 1", "2026-02-01", 155000}}

func TestXLSX(t *testing.T) {
	day := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		bytes []byte
		opt   Options
		want  []string
		notes []string
	}{
		{
			name: "dates as dates and as text, title above, gaps",
			bytes: book(t, nil, [][]any{{"Odometers of February"}, nil, {"Vehicle", nil, "Date", "Odometer (km)"},
				{"Bus 1", nil, day, 155000.5}, nil, {114, "x", "2026-02-02", "155 100"}}),
			want: []string{"4 Bus 1: 2026-02-01 155000 km", "6 114: 2026-02-02 155100 km"},
		},
		{
			name: "a time of day, and a value with the noise of its binary form",
			bytes: book(t, func(f *excelize.File) {
				f.SetCellValue("Sheet1", "D2", 0.1+0.2)
				f.SetCellFormula("Sheet1", "E2", "D2*10") // written without a value: blank
			}, [][]any{{"vehicle", "date", "axle", "left pad in", "right pad mm", "left rotor mm"}, {"Bus 1", day.Add(13 * time.Hour), 1, 0, nil, "23,5"}}),
			// 0.3 in = 7.62 mm: 25.4 mm to the inch.
			want:  []string{"2 Bus 1: 2026-02-01 no km axle 1 left pad 7.62 mm (0.3 in)", "2 Bus 1: 2026-02-01 no km axle 1 left rotor 23.5 mm"},
			notes: []string{`0 note  "": formulas without a stored result were read as blank: open the workbook in a spreadsheet program and save it again: E2`},
		},
		{
			name: "merged cells below the header and above it, formulas with and without a result, in the second sheet",
			bytes: book(t, func(f *excelize.File) {
				f.MergeCell("Sheet1", "A1", "B9")
				f.MergeCell("Sheet2", "A1", "D1") // a title's
				f.MergeCell("Sheet2", "A3", "A4")
				f.SetCellFormula("Sheet2", "D1", "1+1")
				f.SetCellFormula("Sheet2", "D3", "1+1")
				f.SetCellFormula("Sheet2", "C5", "C4+50")
				for _, at := range []string{"D6", "D7", "D8", "D9", "D10", "D11"} {
					f.SetCellFormula("Sheet2", at, "1+1")
				}
			}, [][]any{{"soup"}}, [][]any{{"Odometers"}, odoRows[0], {"Bus 1", "2026-02-01", 155000}, {nil, "2026-02-02", 155100}, {"Bus 2", "2026-02-01", 1}}),
			want: []string{"3 Bus 1: 2026-02-01 155000 km", "5 Bus 2: 2026-02-01 1 km"},
			notes: []string{
				`0 note  "": merged cells have their value in the first of them, the others were read as blank: part them and fill each in: A3:A4`,
				`0 note  "": formulas without a stored result were read as blank: open the workbook in a spreadsheet program and save it again: D3, D6, D7, D8 and 3 more`,
				`4 refused vehicle "": blank: write the vehicle's number`,
			},
		},
		{
			// A quarter and three quarters of a day make numbers of eight signs,
			// as a day in the basic form has: 46054.25.
			name:  "six in the morning and in the evening",
			bytes: book(t, nil, [][]any{odoRows[0], {"Bus 1", day.Add(6 * time.Hour), 155000}, {"Bus 1", day.Add(18 * time.Hour), 155050}, {"Bus 1", 20260202, 155100}}),
			want:  []string{"2 Bus 1: 2026-02-01 155000 km", "3 Bus 1: 2026-02-01 155050 km", "4 Bus 1: 2026-02-02 155100 km"},
		},
		{
			name: "days counted from 1904",
			bytes: book(t, func(f *excelize.File) {
				yes := true
				f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes})
			}, [][]any{odoRows[0], {"Bus 1", 44592, 1}}),
			// 44,592 days after 1 January 1904; the two date systems are 1,462
			// days apart (ISO/IEC 29500-1, 18.17.4.1), and 46,054 is 1 February 2026.
			want: []string{"2 Bus 1: 2026-02-01 1 km"},
		},
		{
			name: "the first visible sheet that fits, and a word on the others",
			bytes: book(t, func(f *excelize.File) { f.SetActiveSheet(1); f.SetSheetVisible("Sheet1", false) },
				[][]any{odoRows[0], {"Hidden", "2026-02-01", 1}}, odoRows, [][]any{{"vehicle", "axle", "brake"}, {"Bus 1", 1, "disc"}}),
			want:  []string{"2 Bus 1: 2026-02-01 155000 km"},
			notes: []string{`0 note  "": only the first sheet that fits was read; hand in the others as files of their own: Sheet3`},
		},
		{
			name:  "the sheet of the declared kind",
			bytes: book(t, nil, odoRows, [][]any{{"vehicle", "axle", "brake"}, {"Bus 1", "1", "disc"}}),
			opt:   Options{Kind: Axles},
			want:  []string{"2 Bus 1: axle 1 disc"},
		},
		{
			name:  "days typed with points, in the order declared",
			bytes: book(t, nil, [][]any{odoRows[0], {"Bus 1", "1.2.2026", 155000}, {"Bus 1", 46055, 155050}}),
			opt:   Options{DateOrder: "dmy"},
			want:  []string{"2 Bus 1: 2026-02-01 155000 km", "3 Bus 1: 2026-02-02 155050 km"},
		},
		{
			name:  "bad cells",
			bytes: book(t, nil, [][]any{odoRows[0], {"Bus 1", 2026, 1}, {"Bus 1", day, "#N/A"}, {"Bus 1", 1e9, 1}, {"Bus 1", day}, odoRows[1]}),
			want:  []string{"6 Bus 1: 2026-02-01 155000 km"},
			notes: []string{
				`2 refused date "2026": 1905-07-18 is before 1950-01-01: correct it`,
				`3 refused odometer_km "#N/A": a spreadsheet's error, not a number: mend the cell, or leave it out`,
				`4 refused date "1000000000": not a date: write year-month-day, such as 2026-03-01`,
				`5 refused odometer_km "": blank: write the odometer, or leave the row out`,
			},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, r := mustRead(t, string(c.bytes), c.opt)
			if d := cmp.Diff(c.want, showAll(rows)); d != "" {
				t.Errorf("rows (-want +got):\n%s", d)
			}
			if d := cmp.Diff(c.notes, showProblems(r.Problems())); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
		})
	}
}

// TestXLSXBlanks is of sheets as few programs write them.
func TestXLSXBlanks(t *testing.T) {
	head, row, formula := "<row>", "<row>", "<c><f>1+1</f></c>"
	for i := range odoRows[0] {
		head += fmt.Sprintf(`<c t="inlineStr"><is><t>%v</t></is></c>`, odoRows[0][i])
		row += fmt.Sprintf(`<c t="inlineStr"><is><t>%v</t></is></c>`, odoRows[1][i])
	}
	named := func(at string) string { return fmt.Sprintf(`<c r="%s"><f>1+1</f></c>`, at) }
	for _, c := range []struct {
		name, rows, want string
	}{
		{"cells that do not say where they are", head + "</row>" + row + formula + formula + "</row>", "D2, E2"},
		{"cells of which some do", head + "</row>" + row + named("F2") + formula + "</row>", "F2, G2"},
		{"more than a row may have", head + "</row>" + row + "</row><row>" + named("XFD3") + formula + "</row>", "XFD3, row 3"},
		{"a name of any length", head + "</row>" + row + named("D2"+strings.Repeat("0", 99)) + "</row>", "D2" + strings.Repeat("0", maxRef-2)},
		{"more above the header than are kept", "<row>" + strings.Repeat(formula, maxAreas) + "</row>" + head + "</row>" + row + formula + "</row>", "others as far down as row 3"},
		{"above the header alone", "<row>" + strings.Repeat(formula, maxAreas+1) + "</row>" + head + "</row>" + row + "</row>", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &blanks{}
			if err := wellFormed(strings.NewReader("<sheetData>"+c.rows+"</sheetData>"), b.see); err != nil {
				t.Fatal(err)
			}
			header := 1 + strings.Count(c.rows[:strings.Index(c.rows, head)], "<row>")
			if got := b.formulas.from(header); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// repack copies a workbook with some of its parts changed.
func repack(t testing.TB, book []byte, method uint16, parts map[string]string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	for _, f := range in.File {
		w, err := out.CreateHeader(&zip.FileHeader{Name: f.Name, Method: method})
		if err != nil {
			t.Fatal(err)
		}
		if text, ok := parts[f.Name]; ok {
			io.WriteString(w, text)
			continue
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(w, r)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const firstSheet = "xl/worksheets/sheet1.xml"

func TestXLSXUnreadable(t *testing.T) {
	good := book(t, nil, odoRows)
	bomb := strings.Repeat(" ", minUnpacked+1)
	for _, c := range []struct {
		name  string
		bytes []byte
		want  string // part of the message
	}{
		{"cut off", good[:len(good)/2], "damaged or was not sent whole"},
		{"flipped", flip(good), "damaged"},
		{"a sheet that breaks off", repack(t, good, zip.Deflate, map[string]string{firstSheet: `<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>vehicle</t></is></c></row><row`}), "damaged"},
		{"a sheet that is not well-formed", repack(t, good, zip.Deflate, map[string]string{firstSheet: `<worksheet><sheetData><row r="1">&</row></sheetData></worksheet>`}), "damaged"},
		{"a bomb", repack(t, good, zip.Deflate, map[string]string{"docProps/app.xml": bomb}), "unpacks to far more"},
		{"no workbook", repack(t, book(t, nil, nil), zip.Deflate, map[string]string{}), "the file is empty"},
		{"another office's", zipOf(t, "mimetype", "application/vnd.oasis.opendocument.spreadsheet"), "not an .xlsx workbook"},
		{"some archive", zipOf(t, "readings.csv", "vehicle"), "not an .xlsx workbook"},
		{"sheets of other things", book(t, nil, [][]any{{"soup"}, {"leek"}}, [][]any{{"vehicle", "date"}}), "f, sheet Sheet2, line 1: a file of"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := NewReader(bytes.NewReader(c.bytes), "f", Options{Today: today})
			if err == nil {
				_, err = readAll(r)
			}
			if !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got error %v, want an ErrInvalid with %q", err, c.want)
			}
		})
	}
}

// flip damages the packed bytes of the first part.
func flip(book []byte) []byte {
	b := bytes.Clone(book)
	for i := 60; i < 100; i++ {
		b[i] ^= 0x55
	}
	return b
}

func zipOf(t *testing.T, name, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	io.WriteString(w, text)
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestTemplate wants every template to be a file that we read, with no row.
func TestTemplate(t *testing.T) {
	for _, k := range Kinds {
		for _, format := range Formats {
			t.Run(string(k)+" "+format, func(t *testing.T) {
				var b bytes.Buffer
				if err := Template(&b, k, format); err != nil {
					t.Fatal(err)
				}
				r, err := NewReader(&b, string(k)+"."+format, Options{})
				if err != nil {
					t.Fatal(err)
				}
				if r.Kind() != k {
					t.Errorf("got kind %s", r.Kind())
				}
				rows, err := readAll(r)
				if ps := r.Problems(); len(rows) > 0 || err != nil || len(ps) != 1 || !strings.HasSuffix(ps[0].Message, "no rows below them") {
					t.Errorf("got rows %q, error %v, problems %q", showAll(rows), err, showProblems(r.Problems()))
				}
				if len(Columns(k)) == 0 {
					t.Error("no columns")
				}
				for _, c := range Columns(k) {
					if r.lay.index[c.field] < 0 && c.field != fValue {
						t.Errorf("column %s is not found", c.Name)
					}
				}
			})
		}
	}
	if err := Template(io.Discard, "menus", "csv"); !errors.Is(err, fleet.ErrNotFound) {
		t.Errorf("got error %v, want ErrNotFound", err)
	}
	if err := Template(io.Discard, Readings, "doc"); !errors.Is(err, fleet.ErrNotFound) {
		t.Errorf("got error %v, want ErrNotFound", err)
	}
}

// TestSynonyms wants each other header to be found, and no header to mean two
// columns of one kind.
func TestSynonyms(t *testing.T) {
	for _, k := range Kinds {
		seen := map[string]string{}
		for _, c := range Columns(k) {
			for _, s := range append([]string{c.Name}, c.Synonyms...) {
				if old, ok := seen[s]; ok {
					t.Errorf("%s: %q means %s and %s", k, s, old, c.Name)
				}
				seen[s] = c.Name
				header := strings.ToUpper(s)
				if c.Unit != "" && s != c.Name {
					header += " (" + c.Unit + ")"
				}
				l := match([]string{"-", header}, k)
				if c.field == fValue {
					if len(l.values) != 1 {
						t.Errorf("%s: %q is not found", k, header)
					}
				} else if l.index[c.field] != 1 {
					t.Errorf("%s: %q is not found", k, header)
				}
			}
		}
	}
}

func TestColumnsDocument(t *testing.T) {
	var b bytes.Buffer
	if err := WriteColumns(&b); err != nil {
		t.Fatal(err)
	}
	golden.Text(t, "../internal/guide/reference-files.md", b.String())
}
