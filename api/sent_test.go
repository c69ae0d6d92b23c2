package api

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"brakewear/ingest"
)

// sent returns where a body that was taken does not fit what the document says is
// sent: who writes a program by the document can send no other.
func (d *document) sent(method, path, body string) []string {
	_, op := d.operation(method, path)
	if op == nil || body == "" {
		return nil
	}
	content := d.sentJSON(op)
	if content == nil {
		return nil
	}
	var v any
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		return []string{err.Error()}
	}
	return d.fit(content["schema"].(map[string]any), v, "sent")
}

// sentJSON is what an operation takes as JSON, nil where it takes none or a file.
func (d *document) sentJSON(op map[string]any) map[string]any {
	body, _ := op["requestBody"].(map[string]any)
	if body == nil {
		return nil
	}
	content, _ := d.resolve(body)["content"].(map[string]any)
	kind, _ := content["application/json"].(map[string]any)
	if kind["schema"] == nil {
		return nil
	}
	return kind
}

// Whatever is sent as JSON has an example, which fits what is said of it.
func TestExamples(t *testing.T) {
	d := readDocument(t)
	var rows []string
	for _, name := range d.operations() {
		method, path, _ := strings.Cut(name, " ")
		_, op := d.operation(method, Prefix+path)
		content := d.sentJSON(op)
		if content == nil {
			continue
		}
		examples := map[string]any{"": map[string]any{"value": content["example"]}}
		if several, ok := content["examples"].(map[string]any); ok {
			examples = several
			rows = append(rows, strings.TrimPrefix(path, "/"))
		}
		for which, e := range examples {
			text, err := json.Marshal(e.(map[string]any)["value"])
			if err != nil {
				t.Fatal(err)
			}
			if string(text) == "null" {
				t.Errorf("%s has no example of what is sent", name)
				continue
			}
			for _, fault := range d.sent(method, Prefix+path, string(text)) {
				t.Errorf("%s: its example %s: %s", name, which, fault)
			}
		}
	}
	// Of the rows of files there is one for each kind, and every row of it can be read.
	examples := d.at("components", "requestBodies", "Rows", "content", "application/json", "examples")
	for _, k := range ingest.Kinds {
		e, ok := examples[string(k)].(map[string]any)
		if !ok || !slices.Contains(rows, string(k)) {
			t.Errorf("no example of rows of %s", k)
			continue
		}
		text, err := json.Marshal(e["value"])
		if err != nil {
			t.Fatal(err)
		}
		r, err := ingest.NewReader(strings.NewReader(string(text)), "example", ingest.Options{Kind: k})
		if err != nil {
			t.Errorf("%s: %v", k, err)
			continue
		}
		n, _ := r.Read(make([]ingest.Row, 10))
		if n == 0 || len(r.Problems()) > 0 {
			t.Errorf("rows of %s: %d read, with %+v", k, n, r.Problems())
		}
	}
}
