package api

import (
	"cmp"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/golden"
)

// TestReference wants the guide's chapter on the API to be what the document
// says.
func TestReference(t *testing.T) {
	const file = "../internal/guide/reference-api.md"
	got := reference(readDocument(t))
	golden.Text(t, file, got)
}

// methods in the order in which a reader wants them.
var methods = []string{"get", "post", "put", "patch", "delete"}

// reference describes the API in Markdown.
func reference(d *document) string {
	var b strings.Builder
	info := d.root["info"].(map[string]any)
	fmt.Fprintf(&b, "# The API\n\n%s\n\nAddresses are below `/api/v1`. The whole document, for programs, is at `/api/v1/openapi.yaml`.\n",
		paragraphs(info["description"].(string)))
	fmt.Fprintf(&b, "\n## Who may ask\n\n%s\n\n    Authorization: Bearer TOKEN\n\nThese answers any of them may have:\n\n| answer | what it says | body |\n| --- | --- | --- |\n",
		breakAt(text(d.at("components", "securitySchemes", "token"), "description"), 100))
	for _, status := range slices.Sorted(maps.Keys(anywhere)) {
		r := d.at("components", "responses", anywhere[status])
		fmt.Fprintf(&b, "| %s | %s | %s |\n", status, cell(text(r, "description")), cell(d.content(r)))
	}
	for _, p := range slices.Sorted(maps.Keys(d.paths)) {
		operations := d.paths[p].(map[string]any)
		for _, method := range methods {
			if op, ok := operations[method].(map[string]any); ok {
				d.describe(&b, strings.ToUpper(method)+" "+p, op)
			}
		}
	}
	b.WriteString("\n# What is sent and received\n")
	schemas := d.at("components", "schemas")
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		d.schema(&b, name, schemas[name].(map[string]any))
	}
	return b.String()
}

// anywhere are the answers that are described once, and their names among the
// components.
var anywhere = map[string]string{"401": "Unauthorized", "403": "Forbidden", "429": "TooMany", "503": "Unavailable", "default": "Problem"}

func (d *document) describe(b *strings.Builder, title string, op map[string]any) {
	fmt.Fprintf(b, "\n## %s\n\n%s.\n", title, strings.TrimSuffix(text(op, "summary"), "."))
	if more := text(op, "description"); more != "" {
		fmt.Fprintf(b, "%s\n", breakAt(more, 100))
	}
	security, _ := op["security"].([]any)
	for _, s := range security {
		if rights := list(s.(map[string]any)["token"]); len(rights) > 0 {
			fmt.Fprintf(b, "\nIt takes the right `%s`.\n", words(rights, "` and `"))
		}
	}
	if ps, ok := op["parameters"].([]any); ok {
		b.WriteString("\n| parameter | in | what it may be | what it is |\n| --- | --- | --- | --- |\n")
		for _, p := range ps {
			m := d.resolve(p.(map[string]any))
			fmt.Fprintf(b, "| `%s` | %s | %s | %s |\n", m["name"], m["in"], cell(d.kind(m["schema"])), cell(text(m, "description")))
		}
	}
	if body, ok := op["requestBody"].(map[string]any); ok {
		fmt.Fprintf(b, "\n%s\n", breakAt("Sent: "+d.content(d.resolve(body))+".", 100))
	}
	b.WriteString("\n| answer | what it says | body |\n| --- | --- | --- |\n")
	responses := op["responses"].(map[string]any)
	for _, status := range slices.Sorted(maps.Keys(responses)) {
		r := responses[status].(map[string]any)
		if name, ok := anywhere[status]; ok && r["$ref"] == "#/components/responses/"+name {
			continue
		}
		r = d.resolve(r)
		fmt.Fprintf(b, "| %s | %s | %s |\n", status, cell(text(r, "description")), cell(d.content(r)))
	}
}

// content says what a body may be.
func (d *document) content(m map[string]any) string {
	types, _ := m["content"].(map[string]any)
	var of []string
	for _, name := range slices.Sorted(maps.Keys(types)) {
		of = append(of, name+": "+d.kind(types[name].(map[string]any)["schema"]))
	}
	return strings.Join(of, "; ")
}

func (d *document) schema(b *strings.Builder, name string, m map[string]any) {
	fmt.Fprintf(b, "\n## %s\n\n", name)
	if s := text(m, "description"); s != "" {
		fmt.Fprintf(b, "%s\n\n", breakAt(s, 100))
	}
	ps, ok := m["properties"].(map[string]any)
	if !ok {
		fmt.Fprintf(b, "%s\n", breakAt(d.kind(m), 100))
		return
	}
	required, _ := m["required"].([]any)
	b.WriteString("| field | what it may be | what it is |\n| --- | --- | --- |\n")
	for _, field := range slices.Sorted(maps.Keys(ps)) {
		p := ps[field].(map[string]any)
		kind := d.kind(p)
		if !slices.Contains(required, any(field)) {
			kind += ", may be left out"
		}
		fmt.Fprintf(b, "| `%s` | %s | %s |\n", field, cell(kind), cell(text(p, "description")))
	}
}

// kind says in a few words what a schema lets through.
func (d *document) kind(v any) string {
	m, ok := v.(map[string]any)
	if !ok {
		return "anything"
	}
	if ref, ok := m["$ref"].(string); ok {
		return path.Base(ref)
	}
	if of, ok := m["enum"].([]any); ok {
		return "one of " + words(of, ", ")
	}
	for key, between := range map[string]string{"oneOf": " or ", "anyOf": " or ", "allOf": " with "} {
		if of, ok := m[key].([]any); ok {
			var kinds []string
			for _, o := range of {
				kinds = append(kinds, d.kind(o))
			}
			return strings.Join(kinds, between)
		}
	}
	kind := words(list(m["type"]), " or ")
	switch {
	case m["items"] != nil:
		kind = "list of " + d.kind(m["items"])
	case m["properties"] != nil:
		ps := m["properties"].(map[string]any)
		fields := slices.Sorted(maps.Keys(ps))
		for i, field := range fields {
			if kind := d.kind(ps[field]); strings.HasPrefix(kind, "list of ") {
				fields[i] += " (" + kind + ")"
			}
		}
		kind = "object of " + strings.Join(fields, ", ")
	case m["format"] != nil:
		kind += fmt.Sprintf(" (%v)", m["format"])
	}
	for _, limit := range []struct{ key, word string }{{"minimum", "from"}, {"maximum", "to"}, {"maxLength", "of at most"}, {"default", "unless given"}} {
		if v, ok := m[limit.key]; ok {
			kind += fmt.Sprintf(", %s %v", limit.word, v)
		}
	}
	return cmp.Or(kind, "anything")
}

func text(m map[string]any, key string) string {
	s, _ := m[key].(string)
	return strings.Join(strings.Fields(s), " ")
}

// paragraphs breaks the lines of a text that has blank ones between its paragraphs.
func paragraphs(s string) string {
	var ps []string
	for _, p := range strings.Split(strings.TrimSpace(s), "\n\n") {
		ps = append(ps, breakAt(p, 100))
	}
	return strings.Join(ps, "\n\n")
}

func list(v any) []any {
	if of, ok := v.([]any); ok {
		return of
	}
	if v == nil {
		return nil
	}
	return []any{v}
}

func words(of []any, between string) string {
	var ws []string
	for _, v := range of {
		ws = append(ws, fmt.Sprint(v))
	}
	return strings.Join(ws, between)
}

func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }

// breakAt breaks text into lines of at most n signs, but for longer words.
func breakAt(s string, n int) string {
	var b strings.Builder
	width := 0
	for _, w := range strings.Fields(s) {
		if width > 0 && width+1+len(w) > n {
			b.WriteString("\n")
			width = 0
		} else if width > 0 {
			b.WriteString(" ")
			width++
		}
		b.WriteString(w)
		width += len(w)
	}
	return b.String()
}
