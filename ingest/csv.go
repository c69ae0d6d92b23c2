package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"brakewear/internal/fleet"
)

const (
	// maxLine bounds one line: no row of ours comes near it.
	maxLine = 64 << 10
	// maxQuoted is how many lines one quoted cell may go over. A quote that is
	// open for longer was forgotten.
	maxQuoted = 30
)

// csvSource parts CSV (RFC 4180) into cells. It does so by itself since
// encoding/csv, where a quote is never closed, takes all that follows for one
// cell: the good rows there would be lost. Here only the line of that quote is,
// and reading goes on with the next.
type csvSource struct {
	in    *bufio.Reader
	delim byte
	eol   byte
	line  int       // of the last line read
	ahead []csvLine // lines looked at already, to be read next
	cells []string

	// latin is the first line that was no UTF-8 and was read as Windows-1252,
	// told that a record said so.
	latin int
	told  bool
}

// csvLine is a line looked at for the end of a quote. However many quotes before it
// are open, it is looked through once for all of them.
type csvLine struct {
	text []byte
	seen bool
	// Where a quote is open as it begins: is one as it ends, or is something wrong.
	open, wrong bool
}

// openCSV finds the sign between cells: the one by which a header is found.
func (r *Reader) openCSV(in *bufio.Reader, head []byte) error {
	delims, skip := ",;\t|", 0
	eol := byte('\n')
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		eol = '\r'
	}
	// A first line by which spreadsheets declare the sign.
	if first, _, ok := bytes.Cut(head, []byte{eol}); ok {
		if sign, ok := bytes.CutPrefix(bytes.TrimSpace(bytes.ToLower(first)), []byte("sep=")); ok && len(sign) <= 1 {
			delims, skip = "\t", 1
			if len(sign) == 1 {
				delims = string(sign)
			}
		}
	}
	var best struct {
		delim byte
		lay   *layout
		lines int
	}
	var worst *noHeaderError
	for i := range len(delims) {
		begun := bytes.NewReader(head)
		src := &csvSource{in: bufio.NewReaderSize(begun, roomFor(begun, 2*maxLine)), delim: delims[i], eol: eol}
		for range skip {
			src.next()
		}
		lay, n, err := findHeader(src, r.opt.Kind, r.name)
		if err != nil {
			e, ok := errors.AsType[*noHeaderError](err)
			if !ok {
				return err
			}
			if worst == nil || e.matched > worst.matched {
				worst = e
			}
			continue
		}
		if best.lay == nil || lay.matched > best.lay.matched {
			best.delim, best.lay, best.lines = delims[i], lay, n
		}
	}
	if best.lay == nil {
		return worst
	}
	src := &csvSource{in: in, delim: best.delim, eol: eol}
	for range best.lines + skip {
		if _, err := src.next(); err != nil {
			return readError(r.name, err)
		}
	}
	src.told = false
	r.lay, r.src = best.lay, src
	r.form = form{fixed: true, comma: best.delim == ','}
	return nil
}

func (s *csvSource) next() (record, error) {
	rec, err := s.record()
	if s.latin > 0 && !s.told {
		s.told = true
		rec.note = &fleet.Problem{Line: s.latin, Message: "not in UTF-8: read as Windows-1252, which Western European spreadsheets write; check names with accents"}
	}
	return rec, err
}

// record returns the next line that is not blank.
func (s *csvSource) record() (record, error) {
	for {
		text, err := s.readLine()
		if err != nil {
			return record{}, err
		}
		at := s.line
		rec := record{line: at}
		switch {
		case len(text) > maxLine:
			rec.fault = &fleet.Problem{Line: at, Read: string(text[:maxRead]), Message: fmt.Sprintf("the line is longer than %d characters: is a line break missing?", maxLine)}
			return rec, nil
		case bytes.IndexByte(text, '"') < 0:
			if blank(text, s.delim) {
				continue
			}
			s.cells = splitPlain(s.cells[:0], s.text(text), s.delim)
			rec.cells = s.cells
			return rec, nil
		}
		text = bytes.Clone(text) // for looking ahead reads on
		var fault string
		if rec.cells, fault, err = s.quoted(text); err != nil {
			return record{}, err
		}
		if fault != "" {
			rec.fault = &fleet.Problem{Line: at, Read: s.text(text), Message: fault}
		}
		return rec, nil
	}
}

// quoted parts a line that has quotes, with the lines that follow while a
// quote is open. Where that fails, only the first line is lost.
func (s *csvSource) quoted(first []byte) (cells []string, fault string, err error) {
	var open bool
	if s.cells, open, fault = splitQuoted(s.cells[:0], s.text(first), s.delim); !open {
		if fault != "" {
			return nil, fault, nil
		}
		return s.cells, "", nil
	}
	more, err := s.untilClosed()
	if err != nil {
		return nil, "", err
	}
	if more == 0 {
		return nil, "a quote is opened and never closed: close it, or double a quote that belongs to the text", nil
	}
	whole := bytes.Clone(first)
	for i := range more {
		whole = append(append(whole, '\n'), s.ahead[i].text...)
	}
	s.ahead = s.ahead[more:]
	s.line += more
	s.cells, _, _ = splitQuoted(s.cells[:0], s.text(whole), s.delim)
	return s.cells, "", nil
}

// untilClosed returns how many of the lines to come belong to a quote that is open;
// 0: it is never closed.
func (s *csvSource) untilClosed() (int, error) {
	for i := range maxQuoted {
		if i == len(s.ahead) {
			text, err := s.scan()
			if errors.Is(err, io.EOF) {
				return 0, nil
			}
			if err != nil {
				return 0, err
			}
			s.ahead = append(s.ahead, csvLine{text: bytes.Clone(text)})
		}
		l := &s.ahead[i]
		if !l.seen {
			_, open, fault := splitQuoted(nil, `"`+string(l.text), s.delim)
			l.seen, l.open, l.wrong = true, open, fault != ""
		}
		switch {
		case l.wrong:
			return 0, nil
		case !l.open:
			return i + 1, nil
		}
	}
	return 0, nil
}

// readLine returns the next line without its end; it holds until the next
// call. A line over maxLine is cut off a little after.
func (s *csvSource) readLine() ([]byte, error) {
	if len(s.ahead) > 0 {
		text := s.ahead[0].text
		s.ahead = s.ahead[1:]
		s.line++
		return text, nil
	}
	text, err := s.scan()
	if err == nil {
		s.line++
	}
	return text, err
}

// scan reads the next line from the file.
func (s *csvSource) scan() ([]byte, error) {
	text, err := s.in.ReadSlice(s.eol)
	if errors.Is(err, bufio.ErrBufferFull) {
		text = bytes.Clone(text[:min(len(text), maxLine+1)])
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = s.in.ReadSlice(s.eol)
		}
	}
	if err != nil && !(errors.Is(err, io.EOF) && len(text) > 0) {
		return nil, err
	}
	text = bytes.TrimSuffix(text, []byte{s.eol})
	return bytes.TrimSuffix(text, []byte{'\r'}), nil
}

// text decodes a line. Files that are no UTF-8 come from spreadsheets set to a
// Western European language.
func (s *csvSource) text(line []byte) string {
	if utf8.Valid(line) {
		return string(line)
	}
	if s.latin == 0 {
		s.latin = s.line
	}
	text, err := charmap.Windows1252.NewDecoder().Bytes(line)
	if err != nil {
		return strings.ToValidUTF8(string(line), "\ufffd")
	}
	return string(text)
}

// blank says whether a line has nothing but separators.
func blank(line []byte, delim byte) bool {
	for _, c := range line {
		if c != delim && c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}

// splitPlain appends the cells of a line without quotes.
func splitPlain(cells []string, line string, delim byte) []string {
	for {
		i := strings.IndexByte(line, delim)
		if i < 0 {
			return append(cells, line)
		}
		cells = append(cells, line[:i])
		line = line[i+1:]
	}
}

// splitQuoted appends the cells of a line with quotes. open says that the last
// quote is not closed yet. Spaces round a quoted cell do not matter, and a
// quote inside an unquoted cell is text, such as of 3/4".
func splitQuoted(cells []string, line string, delim byte) (_ []string, open bool, fault string) {
	for {
		start := strings.TrimLeft(line, " ")
		if !strings.HasPrefix(start, `"`) {
			i := strings.IndexByte(line, delim)
			if i < 0 {
				return append(cells, line), false, ""
			}
			cells, line = append(cells, line[:i]), line[i+1:]
			continue
		}
		var cell strings.Builder
		rest := start[1:]
		for {
			i := strings.IndexByte(rest, '"')
			if i < 0 {
				return cells, true, ""
			}
			cell.WriteString(rest[:i])
			rest = rest[i+1:]
			if !strings.HasPrefix(rest, `"`) {
				break
			}
			cell.WriteByte('"')
			rest = rest[1:]
		}
		cells = append(cells, cell.String())
		rest = strings.TrimLeft(rest, " ")
		switch {
		case rest == "":
			return cells, false, ""
		case rest[0] != delim:
			return cells, false, "text stands behind a closing quote: double a quote that belongs to the text"
		}
		line = rest[1:]
	}
}
