package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"brakewear/internal/fleet"
)

// maxFields bounds the names that the items of one body may have altogether;
// a wide one has a few dozen.
const maxFields = 500

// jsonSource reads an array of objects with the columns' names. Items may
// leave out what they do not have and come in any order of names.
type jsonSource struct {
	dec    *json.Decoder
	name   string
	item   int
	fields []string
	index  map[string]int
	cells  []string
}

func (r *Reader) openJSON(in io.Reader) error {
	s := &jsonSource{dec: json.NewDecoder(&textGuard{in: in, name: r.name}), name: r.name, index: map[string]int{}}
	s.dec.UseNumber()
	start, err := s.dec.Token()
	if err != nil {
		return s.broken(err)
	}
	if start != json.Delim('[') {
		return fleet.Invalidf("%s: want an array of objects, such as [{\"vehicle\": \"Bus 114\", …}]", r.name)
	}
	first, err := s.next()
	if errors.Is(err, io.EOF) {
		return fleet.Invalidf("%s: the array is empty", r.name)
	}
	if err != nil {
		return err
	}
	if first.fault != nil {
		return fleet.Invalidf("%s, item 1: %s", r.name, first.fault.Message)
	}
	r.lay = kindOf(s.fields, r.opt.Kind, r.name)
	if !r.lay.usable(r.opt.Kind) {
		// Later items may have what the first lacks; by then the kind is known.
		if r.opt.Kind == "" || r.lay.fault != "" {
			return noHeader(r.lay, 1, r.opt.Kind, r.name, nil)
		}
	}
	first.header = nil // known already
	r.src = &unread{first: &first, source: s}
	r.form = form{exact: true}
	return nil
}

// maxText bounds one text or number of JSON, in bytes: the decoder holds each whole,
// in more than twice its length.
const maxText = 1 << 20

// textGuard ends JSON that has a longer one.
type textGuard struct {
	in              io.Reader
	name            string
	long            int // bytes of the present text or number
	inText, escaped bool
}

func (g *textGuard) Read(p []byte) (int, error) {
	n, err := g.in.Read(p)
	for _, c := range p[:n] {
		g.long++
		switch {
		case g.escaped:
			g.escaped = false
		case g.inText && c == '\\':
			g.escaped = true
		case c == '"':
			g.inText, g.long = !g.inText, 0
		case !g.inText && (c <= ' ' || c == ',' || c == ':' || c == '}' || c == ']'):
			g.long = 0
		}
		if g.long > maxText {
			return 0, fleet.Invalidf("%s: it has a text or number of more than %d bytes: is a quote missing?", g.name, maxText)
		}
	}
	return n, err
}

func (s *jsonSource) next() (record, error) {
	if !s.dec.More() {
		if _, err := s.dec.Token(); err != nil { // the closing bracket
			return record{}, s.broken(err)
		}
		if _, err := s.dec.Token(); !errors.Is(err, io.EOF) {
			return record{}, fleet.Invalidf("%s: text follows the array: send one array", s.name)
		}
		return record{}, io.EOF
	}
	s.item++
	rec := record{line: s.item}
	start, err := s.dec.Token()
	if err != nil {
		return rec, s.broken(err)
	}
	if start != json.Delim('{') {
		if err := s.skip(start); err != nil {
			return rec, err
		}
		rec.fault = &fleet.Problem{Line: s.item, Read: fmt.Sprint(start), Message: "not an object: write the names of the columns with their values"}
		return rec, nil
	}
	known := len(s.fields)
	clear(s.cells)
	for s.dec.More() {
		key, err := s.dec.Token()
		if err != nil {
			return rec, s.broken(err)
		}
		name := key.(string) // the decoder allows nothing else here
		i, ok := s.index[name]
		if !ok {
			if len(s.fields) == maxFields {
				return rec, fleet.Invalidf("%s, item %d: more than %d different names: send the names of the template", s.name, s.item, maxFields)
			}
			i = len(s.fields)
			s.index[name] = i
			s.fields = append(s.fields, name)
			s.cells = append(s.cells, "")
		}
		value, err := s.dec.Token()
		if err != nil {
			return rec, s.broken(err)
		}
		switch v := value.(type) {
		case string:
			s.cells[i] = v
		case json.Number:
			s.cells[i] = v.String()
		case bool:
			s.cells[i] = fmt.Sprint(v)
		case json.Delim:
			if err := s.skip(v); err != nil {
				return rec, err
			}
			rec.fault = &fleet.Problem{Line: s.item, Column: name, Message: "want text, a number or null, not an array or object"}
		}
	}
	if _, err := s.dec.Token(); err != nil {
		return rec, s.broken(err)
	}
	rec.cells = s.cells
	if len(s.fields) > known {
		rec.header = slices.Clone(s.fields)
	}
	return rec, nil
}

// skip reads to the end of the value that start begins.
func (s *jsonSource) skip(start json.Token) error {
	depth := 0
	for t := start; ; {
		switch t {
		case json.Delim('['), json.Delim('{'):
			depth++
		case json.Delim(']'), json.Delim('}'):
			depth--
		}
		if depth == 0 {
			return nil
		}
		var err error
		if t, err = s.dec.Token(); err != nil {
			return s.broken(err)
		}
	}
}

// broken says where the text is no JSON. An error of the bytes' source passes.
func (s *jsonSource) broken(err error) error {
	if _, ok := errors.AsType[*json.SyntaxError](err); ok || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		what := err.Error()
		if !ok {
			what = "the text ends before the array does"
		}
		return fleet.Invalidf("%s: not JSON near byte %d, item %d: %s", s.name, s.dec.InputOffset(), max(s.item, 1), what)
	}
	return readError(s.name, err)
}

// unread is a source with its first record given back.
type unread struct {
	first *record
	source
}

func (u *unread) next() (record, error) {
	if u.first != nil {
		rec := *u.first
		u.first = nil
		return rec, nil
	}
	return u.source.next()
}
