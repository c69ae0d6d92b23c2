package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"testing"
)

// post hands a file in, to be taken in unchecked when direct.
func (w *world) post(t *testing.T, kind, name, content string, direct bool) *httptest.ResponseRecorder {
	t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	if err := form.WriteField("kind", kind); err != nil {
		t.Fatal(err)
	}
	if direct {
		if err := form.WriteField("direct", "yes"); err != nil {
			t.Fatal(err)
		}
	}
	if name != "" {
		f, err := form.CreateFormFile("file", name)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprint(f, content)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	req := httptest.NewRequest(http.MethodPost, "/readings", &b)
	req.Header.Set("Content-Type", form.FormDataContentType())
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	return rec
}

func TestUploads(t *testing.T) {
	w := small(t)
	for _, c := range []struct {
		name       string
		kind       string
		file, text string
		status     int // of the answer to the post
		has        []has
	}{
		{"good", "", "visit readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 2,2026-02-28,90000,1,pad,left,inner,4.2\n", 303,
			[]has{{".tally", "taken 1 refused 0"}, {".next a[href=/]", "*"}, {".problems", ""}}},
		{"the same again", "", "copy of visit readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 2,2026-02-28,90000,1,pad,left,inner,4.2\n", 303,
			[]has{{".notice", "nothing was changed"}}},
		{"some refused", "readings", "mixed.csv", "vehicle,date,axle,part,value_mm\nBus 1,2026-02-30,1,pad,5\nBus 1,2026-03-01,2,pad,9.9\nBus 1,2026-03-01,2,pad,<script>alert(1)</script>\n", 303,
			[]has{{".tally", "taken 1 refused 2"}, {".problems", "line 2"}, {".problems q", "2026-02-30"}, {".problems q", "<script>"}, {".problems script", ""}}},
		{"no odometer", "", "no odometer.csv", "vehicle,date,axle,part,side,face,value_mm\nBus 1,2026-03-02,1,pad,left,inner,4.0\n", 303,
			[]has{{".tally", "taken 1 refused 0"}, {"main", "Taken, with a note"}, {".problems", "odometer"}}},
		{"doubtful", "", "doubtful.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-03-02,,2,pad,,,19\n", 303,
			[]has{{".tally", "taken 1 of them doubtful 1 refused 0"}, {"main", "Taken, but doubtful"}, {".problems", "thicker than last time"}}},
		{"no header", "", "notes.csv", "dear workshop,please\nfind,attached\n", 400,
			[]has{{".fault[role=alert]", "not taken in"}, {"form.upload", "*"}}},
		{"empty", "", "empty.csv", "", 400, []has{{".fault", "empty"}}},
		{"no file", "", "", "", 400, []has{{".fault", "No file was chosen"}}},
		{"another kind", "poems", "a.csv", "x", 400, []has{{"h1", "cannot be done"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := w.post(t, c.kind, c.file, c.text, true)
			if rec.Code != c.status {
				t.Fatalf("got status %d, want %d: %s", rec.Code, c.status, rec.Body)
			}
			if c.status == http.StatusSeeOther {
				rec = w.get(rec.Header().Get("Location"))
			}
			check(t, parse(t, rec.Body.String()), c.has)
		})
	}
	// The list follows what was handed in.
	check(t, parse(t, w.get("/?q=KEA+2&within=0").Body.String()), []has{{".row .num", "4.2"}, {".row .facts", "3 readings"}})
	rows, err := csv.NewReader(w.get("/readings/6/problems.csv").Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 || rows[0][0] != "line" {
		t.Errorf("problems of upload 6: got %q", rows)
	}
}

func TestTemplates(t *testing.T) {
	w := empty(t)
	for file, status := range map[string]int{
		"vehicles.csv": 200, "axles.csv": 200, "readings.csv": 200, "readings.xlsx": 200,
		"readings.pdf": 404, "poems.csv": 404, "readings": 404,
	} {
		if rec := w.get("/templates/" + file); rec.Code != status {
			t.Errorf("%s: got %d, want %d", file, rec.Code, status)
		}
	}
}
