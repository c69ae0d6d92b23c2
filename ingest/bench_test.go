package ingest

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"testing"
	"time"
)

// benchRows is how many readings a benchmark's file has; they are invented.
const benchRows = 100_000

func benchCSV() []byte {
	var b bytes.Buffer
	b.WriteString(longHeader)
	for i := range benchRows {
		fmt.Fprintf(&b, "Bus %d,2026-02-%02d,%d,%d,pad,left,inner,%.1f,calliper 0.1 mm,Ada,\n", i/400, 1+i/4%28, 100000+i, 1+i%2, 3+float64(i%120)/10)
	}
	return b.Bytes()
}

// BenchmarkCSV gives rows/s with all checks on, and as a share of what
// encoding/csv does when nobody looks at the cells.
func BenchmarkCSV(b *testing.B) {
	file := benchCSV()
	start := time.Now()
	bare := csv.NewReader(bytes.NewReader(file))
	bare.ReuseRecord = true
	for {
		if _, err := bare.Read(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			b.Fatal(err)
		}
	}
	bareRate := benchRows / time.Since(start).Seconds()
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	benchRead(b, file)
	b.ReportMetric(benchRows*float64(b.N)/b.Elapsed().Seconds()/bareRate, "of_bare_csv")
}

func BenchmarkXLSX(b *testing.B) {
	rows := [][]any{{"vehicle", "date", "odometer_km", "axle", "part", "side", "face", "value_mm", "gauge"}}
	for i := range benchRows / 10 {
		rows = append(rows, []any{"Bus " + strconv.Itoa(i/400), time.Date(2026, 2, 1+i/4%28, 0, 0, 0, 0, time.UTC), 100000 + i, 1 + i%2, "pad", "left", "inner", 3 + float64(i%120)/10, "calliper"})
	}
	file := book(b, nil, rows)
	b.ReportAllocs()
	benchRead(b, file)
}

func BenchmarkJSON(b *testing.B) {
	var file bytes.Buffer
	file.WriteByte('[')
	for i := range benchRows {
		if i > 0 {
			file.WriteByte(',')
		}
		fmt.Fprintf(&file, `{"vehicle":"Bus %d","date":"2026-02-%02d","odometer_km":%d,"axle":%d,"part":"pad","side":"left","face":"inner","value_mm":%.1f,"gauge":"calliper"}`, i/400, 1+i/4%28, 100000+i, 1+i%2, 3+float64(i%120)/10)
	}
	file.WriteByte(']')
	b.SetBytes(int64(file.Len()))
	b.ReportAllocs()
	benchRead(b, file.Bytes())
}

// benchRead reads file b.N times and reports rows/s.
func benchRead(b *testing.B, file []byte) {
	buf := make([]Row, 4096)
	rows := 0
	for b.Loop() {
		r, err := NewReader(bytes.NewReader(file), "readings", Options{Today: today})
		if err != nil {
			b.Fatal(err)
		}
		for {
			n, err := r.Read(buf)
			rows += n
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
		}
		if r.Refused() > 0 {
			b.Fatal(showProblems(r.Problems()[:1]))
		}
	}
	b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkOpenQuotes reads lines each of which leaves a quote open, of two sizes: it
// is to be as fast on both, and for long lines.
func BenchmarkOpenQuotes(b *testing.B) {
	for _, size := range []int{1 << 20, 4 << 20} {
		for _, text := range []string{"", strings.Repeat("x", 1000)} {
			b.Run(fmt.Sprintf("%d MB of lines of %d", size>>20, 6+len(text)), func(b *testing.B) {
				file := []byte(longHeader + strings.Repeat("a\",\"b"+text+"\n", size/(6+len(text))))
				b.SetBytes(int64(len(file)))
				for b.Loop() {
					src := &csvSource{in: bufio.NewReaderSize(bytes.NewReader(file), 2*maxLine), delim: ',', eol: '\n'}
					for {
						if _, err := src.next(); errors.Is(err, io.EOF) {
							break
						} else if err != nil {
							b.Fatal(err)
						}
					}
				}
			})
		}
	}
}
