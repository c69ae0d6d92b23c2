package ingest

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/fleet"
)

// checkFile reads bytes as a file of ours and checks what holds for any.
func checkFile(t *testing.T, file []byte, k Kind) {
	t.Helper()
	r, err := NewReader(bytes.NewReader(file), "file", Options{Kind: k, Today: today, MaxRows: 10_000})
	var rows []Row
	if err == nil {
		rows, err = readAll(r)
	}
	if err != nil {
		if !errors.Is(err, fleet.ErrInvalid) || !utf8.ValidString(err.Error()) {
			t.Fatalf("got error %q, want an ErrInvalid", err)
		}
		return
	}
	if len(r.SHA256()) != 64 {
		t.Errorf("got hash %q", r.SHA256())
	}
	refused := false
	for _, p := range r.Problems() {
		refused = refused || p.Refused
		if p.Message == "" || p.Refused && p.Line < 1 || !utf8.ValidString(p.Read+p.Column+p.Message) {
			t.Errorf("got problem %+v", p)
		}
	}
	if refused != (r.Refused() > 0) {
		t.Errorf("got %d refused, and problems %q", r.Refused(), showProblems(r.Problems()))
	}
	for _, row := range rows {
		checkRow(t, row)
	}
}

// checkRow wants a row to be one that can be stored.
func checkRow(t *testing.T, row Row) {
	t.Helper()
	var err error
	set := 0
	var date fleet.Date
	texts := []string{row.Vehicle, row.Fleet}
	if e := row.Entry; e != nil {
		set++
		err = e.Vehicle.Validate()
		texts = append(texts, e.Depot, e.Plate, e.Make, e.Model, e.Duty)
	}
	if a := row.Axle; a != nil {
		set++
		err = a.Validate()
	}
	if o := row.Odometer; o != nil {
		set++
		err = o.Validate()
		date = o.Date
	}
	if r := row.Reading; r != nil {
		set++
		err = r.Validate()
		date = r.Date
		texts = append(texts, r.Given, r.Unit, r.Gauge, r.Technician, r.Note)
	}
	if f := row.Fitment; f != nil {
		set++
		err = f.Validate()
		date = f.Date
	}
	if b := row.BrakeTest; b != nil {
		set++
		err = b.Validate()
		date = b.Date
		texts = append(texts, b.ForceUnit, b.Technician, b.Note)
		if b.Lines < 1 {
			t.Errorf("a test of no line: %s", show(row))
		}
	}
	named := row.Vehicle != ""
	if p := row.Part; p != nil {
		set++
		named = p.Part.Number != ""
		texts = append(texts, p.Part.Number, p.Part.Name, p.Depot)
	}
	if a := row.Absence; a != nil {
		set++
		if a.Closure != nil {
			named = a.Depot != "" && row.Vehicle == "" && a.Vehicle == nil
			err = a.Closure.Validate()
			texts = append(texts, a.Depot, a.Closure.Reason)
		} else {
			err = a.Vehicle.Validate()
			texts = append(texts, a.Vehicle.Reason)
		}
	}
	if v := row.Visit; v != nil {
		set++
		err = v.Validate()
		texts = append(texts, v.Depot, v.What)
	}
	if set != 1 || err != nil || row.Line < 1 || !named || date > today {
		t.Errorf("got row %s: %v", show(row), err)
	}
	for _, s := range texts {
		// PostgreSQL stores neither.
		if !utf8.ValidString(s) || strings.ContainsRune(s, 0) {
			t.Errorf("got text %q in row %s", s, show(row))
		}
	}
}

func FuzzCSV(f *testing.F) {
	for _, s := range []string{
		longHeader + "Bus 1,2026-02-01,155000,1,pad,left,inner,7.4,,,\"a\nb\"\n",
		longHeader + "Bus 1,2026-02-01,155000,1,pad,left,inner,7.4,,,\"a\nb\n\"x\n",
		"sep=;\nVehicle;Axle;Brake;Pad new (mm);Pad min (1/32 in)\n1;2;;19,5;\"4\"\"\"\n",
		"\xef\xbb\xbfvehicle\tdate (dmy)\tmiles\nF\xe4hre\t1.2.26\t1 000\r\n",
		"vehicle|date fitted|a1 left inner in|RR drum mm\r1|2026-02-01|9/32|<300\r",
		"vehicle,fleet,category,year\n'=1,a,M3,2020\n",
		"vehicle;date;odometer mi;previous km\nVan 2;2026-02-01;0;155000,5\n",
		"part no;item;price;depot;stock;make;axle\nP 1;pads;236,50;Harbour;4;Orlo;1\n",
		"vehicle,depot,from (dmy),until,days,hours,why\nBus 1,,6.7.2026,,Mon-Wed,,term\n,Harbour,6.7.2026,17.7.26,,7.5,\n",
		"bus,test due (dmy),purpose,where\nBus 1,6.7.2026,statutory test,Harbour\nBus 1,6.1.27,service,\n",
		"vehicle,date,method,weight t,axle,side,force kN,locked\nBus 1,2026-02-01,roller,12,1,left,9,x\nBus 1,2026-02-01,roller,,1,right,8,\nBus 1,2026-02-01,stop,,,,,\n",
	} {
		f.Add([]byte(s), uint8(0))
		f.Add([]byte(s), uint8(5))
		f.Add([]byte(s), uint8(len(Kinds)))
	}
	f.Fuzz(func(t *testing.T, file []byte, kind uint8) {
		if bytes.HasPrefix(file, []byte("PK")) {
			t.Skip("for FuzzXLSX")
		}
		k := append([]Kind{""}, Kinds...)[int(kind)%(len(Kinds)+1)]
		checkFile(t, file, k)
		compareCSV(t, file)
	})
}

// compareCSV wants the same cells as from encoding/csv where that finds no
// fault, apart from lines of blanks, which we leave out.
func compareCSV(t *testing.T, file []byte) {
	t.Helper()
	if !utf8.Valid(file) {
		return
	}
	std := csv.NewReader(bytes.NewReader(file))
	std.FieldsPerRecord = -1
	want, err := std.ReadAll()
	if err != nil || bytes.Count(file, []byte{'\n'}) > maxQuoted || len(file) > maxLine {
		return
	}
	want = slices.DeleteFunc(want, func(cells []string) bool {
		return strings.Trim(strings.Join(cells, ""), " \t") == "" && !bytes.ContainsRune(file, '"')
	})
	src := &csvSource{in: bufio.NewReaderSize(bytes.NewReader(file), 2*maxLine), delim: ',', eol: '\n'}
	var got [][]string
	for {
		rec, err := src.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil || rec.fault != nil {
			t.Fatalf("got %v, %+v where encoding/csv finds no fault", err, rec.fault)
		}
		got = append(got, slices.Clone(rec.cells))
	}
	if bytes.ContainsRune(file, '"') {
		// Quoted or not, a line of blanks cannot be told in want any more.
		blanks := func(cells []string) bool { return strings.Trim(strings.Join(cells, ""), " \t") == "" }
		want, got = slices.DeleteFunc(want, blanks), slices.DeleteFunc(got, blanks)
	}
	if d := cmp.Diff(want, got, cmpopts.EquateEmpty()); d != "" {
		t.Errorf("cells (-encoding/csv +ours):\n%s", d)
	}
}

func FuzzJSON(f *testing.F) {
	for _, s := range []string{
		`[{"vehicle":"Bus 1","date":"2026-02-01","odometer_km":155000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":7.4,"note":"a\nb"}]`,
		`[{"vehicle":1,"date":"2026-02-01","odometer_km":1e5},{"vehicle":null,"fleet":true},{"vehicle":{}},[],7]`,
		`[{"vehicle":"1","axle":2,"brake":"drum","lining new in":"3/4","lining limit mm":6.4}]`,
		`[{"vehicle":"Bus 1","first_day":"2026-07-06","weekdays":"Fri"},{"depot":"Harbour","first_day":"2026-07-06","technician_hours":7.5}]`,
		`[{"vehicle":"Bus 1","day":"2026-07-06","what":"service","depot":"Harbour"},{"vehicle":"Bus 1","day":20260706,"what":""}]`,
		`[{"vehicle":"\u0000","date":"2026-02-01","axle 1 left pad mm":7,"rear right pad":"<3"}]`,
	} {
		f.Add([]byte(s), uint8(0))
		f.Add([]byte(s), uint8(3))
	}
	f.Fuzz(func(t *testing.T, file []byte, kind uint8) {
		if file = bytes.TrimLeft(file, " \t\r\n"); len(file) == 0 || file[0] != '[' {
			t.Skip("for FuzzCSV")
		}
		checkFile(t, file, append([]Kind{""}, Kinds...)[int(kind)%(len(Kinds)+1)])
	})
}

// FuzzXLSX changes the first sheet and the shared strings of a sound workbook,
// and in whole the packed bytes: those alone would hardly get past their
// checksums.
func FuzzXLSX(f *testing.F) {
	good := book(f, nil, odoRows)
	const strs = `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="3"><si><t>vehicle</t></si><si><t>date</t></si><si><r><t>odo</t></r><r><t>meter km</t></r></si></sst>`
	const sheet = `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` +
		`<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c><c r="C1" t="s"><v>2</v></c></row>` +
		`<row r="3"><c r="A3" t="inlineStr"><is><t>Bus 1</t></is></c><c r="B3" s="1"><v>46054</v></c><c r="C3"><f>1+1</f><v>155000.5</v></c><c r="D3" t="b"><v>1</v></c><c r="E3" t="e"><v>#N/A</v></c><c r="F3" t="d"><v>2026-02-01</v></c></row>` +
		`</sheetData></worksheet>`
	f.Add([]byte(sheet), []byte(strs), uint16(0), uint8(0))
	f.Add([]byte(strings.Replace(sheet, `r="3"`, `r="1048576"`, 1)), []byte(""), uint16(0), uint8(0))
	f.Add([]byte(strings.Replace(sheet, `"C3"`, `"XFD3"`, 1)), []byte(strs), uint16(70), uint8(1))
	f.Fuzz(func(t *testing.T, sheet, strs []byte, at uint16, change uint8) {
		file := repack(t, good, zip.Store, map[string]string{firstSheet: string(sheet), "xl/sharedStrings.xml": string(strs)})
		if change != 0 && int(at) < len(file) {
			file[at] ^= change
		}
		checkFile(t, file, "")
	})
}
