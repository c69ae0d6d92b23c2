package api

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"mime"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/goccy/go-yaml"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// document is openapi.yaml with what its checks have seen.
type document struct {
	root   map[string]any
	paths  map[string]any
	called map[string]bool // operations that were answered as they should
}

func readDocument(t *testing.T) *document {
	t.Helper()
	text, err := files.ReadFile("openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	d := &document{called: map[string]bool{}}
	if err := yaml.Unmarshal(text, &d.root); err != nil {
		t.Fatal(err)
	}
	d.paths = d.root["paths"].(map[string]any)
	return d
}

// operations returns what the document describes, such as "GET /due".
func (d *document) operations() []string {
	var ops []string
	for path, methods := range d.paths {
		for method := range methods.(map[string]any) {
			ops = append(ops, strings.ToUpper(method)+" "+path)
		}
	}
	slices.Sort(ops)
	return ops
}

// TestDocumentHasEveryRoute compares the document with the router.
func TestDocumentHasEveryRoute(t *testing.T) {
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	New(nil).Register(r)
	var routes []string
	for _, x := range r.Routes() {
		segments := strings.Split(strings.TrimPrefix(x.Path, Prefix), "/")
		for i, s := range segments {
			if name, ok := strings.CutPrefix(s, ":"); ok {
				segments[i] = "{" + name + "}"
			}
		}
		routes = append(routes, x.Method+" "+strings.Join(segments, "/"))
	}
	slices.Sort(routes)
	if ops := readDocument(t).operations(); !slices.Equal(routes, ops) {
		t.Errorf("the router has\n%s\nthe document has\n%s", strings.Join(routes, "\n"), strings.Join(ops, "\n"))
	}
}

// TestDocumentWords compares lists of words in the document with the code's.
func TestDocumentWords(t *testing.T) {
	d := readDocument(t)
	words := func(v any) (out []string) {
		for _, w := range v.([]any) {
			out = append(out, w.(string))
		}
		slices.Sort(out)
		return out
	}
	var sorts, kinds, found, states, moves []string
	for _, m := range store.Shifts {
		moves = append(moves, string(m))
	}
	for _, k := range fleet.FindingKinds() {
		found = append(found, string(k))
	}
	for _, s := range fleet.FindingStates {
		states = append(states, string(s))
	}
	for _, s := range store.DueSorts {
		sorts = append(sorts, string(s))
	}
	for _, k := range ingest.Kinds {
		kinds = append(kinds, string(k))
	}
	param := func(op, name string) map[string]any {
		method, path, _ := strings.Cut(op, " ")
		for _, p := range d.at("paths", path, strings.ToLower(method))["parameters"].([]any) {
			if p := d.resolve(p.(map[string]any)); p["name"] == name {
				return d.resolve(p["schema"].(map[string]any))
			}
		}
		t.Fatalf("%s has no parameter %s", op, name)
		return nil
	}
	for _, c := range []struct {
		name string
		doc  any
		code []string
	}{
		{"sort", param("GET /due", "sort")["enum"], sorts},
		{"moved", param("GET /due", "moved")["enum"], moves},
		{"kind", param("POST /uploads", "kind")["enum"], kinds},
		{"kind of finding", param("GET /findings", "kind")["enum"], found},
		{"state of finding", param("GET /findings", "state")["enum"], states},
		{"dates", param("POST /uploads", "dates")["enum"], ingest.DateOrders},
		{"record", param("GET /changes", "record")["enum"], slices.Clone(store.DeedRecords)},
	} {
		slices.Sort(c.code)
		if got := words(c.doc); !slices.Equal(got, c.code) {
			t.Errorf("%s: the document has %v, the code %v", c.name, got, c.code)
		}
	}
	limit := param("GET /due", "limit")
	if fmt.Sprint(limit["maximum"], limit["default"]) != fmt.Sprint(store.MaxLimit, store.DefaultLimit) {
		t.Errorf("limit: the document has %v", limit)
	}
}

// TestDocumentReferences wants every reference to lead somewhere.
func TestDocumentReferences(t *testing.T) {
	d := readDocument(t)
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if _, ok := v["$ref"]; ok && d.resolve(v) == nil {
				t.Errorf("%v leads nowhere", v["$ref"])
			}
			for _, x := range v {
				walk(x)
			}
		case []any:
			for _, x := range v {
				walk(x)
			}
		}
	}
	walk(d.root)
}

func (d *document) at(path ...string) map[string]any {
	v := d.root
	for _, key := range path {
		v, _ = v[key].(map[string]any)
	}
	return v
}

// resolve follows a reference within the document.
func (d *document) resolve(v map[string]any) map[string]any {
	ref, ok := v["$ref"].(string)
	if !ok {
		return v
	}
	return d.at(strings.Split(strings.TrimPrefix(ref, "#/"), "/")...)
}

// operation finds what a request is in the document.
func (d *document) operation(method, path string) (name string, op map[string]any) {
	path = strings.TrimPrefix(path, Prefix)
	got := strings.Split(path, "/")
	for pattern, methods := range d.paths {
		want := strings.Split(pattern, "/")
		same := len(want) == len(got)
		for i := 0; same && i < len(want); i++ {
			same = want[i] == got[i] || strings.HasPrefix(want[i], "{")
		}
		if op, ok := methods.(map[string]any)[strings.ToLower(method)].(map[string]any); same && ok {
			return method + " " + pattern, op
		}
	}
	return "", nil
}

// check returns what is wrong with an answer by the document.
func (d *document) check(method, path string, w *httptest.ResponseRecorder) []string {
	name, op := d.operation(method, path)
	if op == nil {
		return []string{"the document has no such operation"}
	}
	responses := op["responses"].(map[string]any)
	resp, ok := responses[strconv.Itoa(w.Code)].(map[string]any)
	if !ok {
		if resp, ok = responses["default"].(map[string]any); !ok || w.Code < 400 {
			return []string{fmt.Sprintf("the document has no answer %d", w.Code)}
		}
	}
	resp = d.resolve(resp)
	kind, _, err := mime.ParseMediaType(w.Header().Get("Content-Type"))
	content, _ := resp["content"].(map[string]any)
	if content == nil && w.Body.Len() == 0 {
		d.called[name] = true
		return nil
	}
	body, ok := content[kind].(map[string]any)
	if err != nil || !ok {
		return []string{fmt.Sprintf("the document has no content %q, only %v", w.Header().Get("Content-Type"), slices.Collect(maps.Keys(content)))}
	}
	if headers, ok := resp["headers"].(map[string]any); ok && headers["Location"] != nil && w.Header().Get("Location") == "" {
		return []string{"no Location header"}
	}
	if w.Code < 300 {
		d.called[name] = true
	}
	schema, ok := body["schema"].(map[string]any)
	if !ok || !strings.HasSuffix(kind, "json") {
		return nil
	}
	var v any
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
		return []string{err.Error()}
	}
	return d.fit(schema, v, "$")
}

// fit returns where v does not fit the schema. It knows the words of JSON
// Schema that the document uses, and fails on any other.
func (d *document) fit(schema map[string]any, v any, at string) (faults []string) {
	schema = d.resolve(schema)
	fault := func(format string, args ...any) {
		faults = append(faults, at+": "+fmt.Sprintf(format, args...))
	}
	for word, arg := range schema {
		switch word {
		case "description", "required", "additionalProperties", "default":
		case "minItems", "maxLength":
			bound, err := strconv.Atoi(fmt.Sprint(arg))
			list, isList := v.([]any)
			s, isText := v.(string)
			if err != nil || word == "minItems" && isList && len(list) < bound || word == "maxLength" && isText && utf8.RuneCountInString(s) > bound {
				fault("%s %v", word, arg)
			}
		case "type":
			types, ok := arg.([]any)
			if !ok {
				types = []any{arg}
			}
			if !slices.ContainsFunc(types, func(t any) bool { return isType(v, t.(string)) }) {
				fault("%v is not %v", v, arg)
			}
		case "enum":
			if !slices.Contains(arg.([]any), v) {
				fault("%v is not one of %v", v, arg)
			}
		case "minimum", "maximum":
			x, ok := v.(float64)
			bound, err := strconv.ParseFloat(fmt.Sprint(arg), 64)
			if err != nil || ok && (word == "minimum" && x < bound || word == "maximum" && x > bound) {
				fault("%v, %s %v", v, word, arg)
			}
		case "format":
			form := map[string]string{"date": time.DateOnly, "date-time": time.RFC3339Nano}[arg.(string)]
			if s, ok := v.(string); ok {
				if _, err := time.Parse(form, s); err != nil {
					fault("%v", err)
				}
			}
		case "items":
			list, _ := v.([]any)
			for i, x := range list {
				faults = append(faults, d.fit(arg.(map[string]any), x, fmt.Sprintf("%s[%d]", at, i))...)
			}
		case "properties":
			props := arg.(map[string]any)
			object, ok := v.(map[string]any)
			if !ok {
				continue // "type" says so, or it is null
			}
			for name, x := range object {
				prop, ok := props[name].(map[string]any)
				if !ok {
					fault("%s is not in the document", name)
					continue
				}
				faults = append(faults, d.fit(prop, x, at+"."+name)...)
			}
			required, _ := schema["required"].([]any)
			for _, name := range required {
				if _, ok := object[name.(string)]; !ok {
					fault("%v is missing", name)
				}
			}
		default:
			fault("the test does not know %q", word)
		}
	}
	return faults
}

func isType(v any, name string) bool {
	switch name {
	case "null":
		return v == nil
	case "string":
		_, ok := v.(string)
		return ok
	case "boolean":
		_, ok := v.(bool)
		return ok
	case "number":
		_, ok := v.(float64)
		return ok
	case "integer":
		x, ok := v.(float64)
		return ok && x == math.Trunc(x)
	case "array":
		_, ok := v.([]any)
		return ok
	case "object":
		_, ok := v.(map[string]any)
		return ok
	}
	return false
}

// TestFitCatches plants one fault at a time in an object that fits.
func TestFitCatches(t *testing.T) {
	d := readDocument(t)
	schema := map[string]any{"$ref": "#/components/schemas/Warning"}
	for _, c := range []struct {
		json string
		want int // faults
	}{
		{`{"code":"a","text":"b"}`, 0},
		{`{"code":"a"}`, 1},
		{`{"code":"a","text":7}`, 1},
		{`{"code":"a","text":"b","more":1}`, 1},
		{`[]`, 1},
		{`null`, 1},
	} {
		var v any
		if err := json.Unmarshal([]byte(c.json), &v); err != nil {
			t.Fatal(err)
		}
		if got := d.fit(schema, v, "$"); len(got) != c.want {
			t.Errorf("%s: got faults %q, want %d", c.json, got, c.want)
		}
	}
	few := map[string]any{"minItems": 1, "maxLength": 2}
	for _, v := range []any{[]any{}, "öäü"} {
		if got := d.fit(few, v, "$"); len(got) != 1 {
			t.Errorf("got faults %q of %q", got, v)
		}
	}
	date := map[string]any{"$ref": "#/components/schemas/DateOrNull"}
	if got := d.fit(date, "1.3.2026", "$"); len(got) != 1 {
		t.Errorf("got faults %q of a date that is none", got)
	}
}
