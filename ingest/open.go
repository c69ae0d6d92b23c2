package ingest

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"strings"
	"sync/atomic"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"brakewear/internal/fleet"
)

// form is what the rows need to know of the file's format.
type form struct {
	exact bool // numbers were written by a program: XLSX, JSON
	fixed bool // each line must have as many cells as the header: CSV
	comma bool // cells are parted by commas
}

// headBytes is how much of a file is looked at to find its format and header.
const headBytes = 64 << 10

// open finds the format of the file and reads as far as its header.
func (r *Reader) open() error {
	in := bufio.NewReaderSize(r.in, roomFor(r.in.r, 4*headBytes))
	head, err := peek(in)
	if err != nil {
		return readError(r.name, err)
	}
	if fault := foreign(head); fault != "" {
		return fleet.Invalidf("%s: %s", r.name, fault)
	}
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return r.openXLSX(in)
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		// What spreadsheets call Unicode text.
		utf16 := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM)
		in = bufio.NewReaderSize(transform.NewReader(in, utf16.NewDecoder()), 4*headBytes)
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		if _, err := in.Discard(3); err != nil {
			return readError(r.name, err)
		}
	}
	if head, err = peek(in); err != nil {
		return readError(r.name, err)
	}
	if text := bytes.TrimLeft(head, " \t\r\n"); len(text) > 0 && (text[0] == '[' || text[0] == '{') {
		return r.openJSON(in)
	}
	return r.openCSV(in, head)
}

// readError says what was being read, unless err says so already.
func readError(name string, err error) error {
	if errors.Is(err, fleet.ErrInvalid) {
		return err
	}
	return fmt.Errorf("read %s: %w", name, err)
}

// roomFor returns how much room to read in with: no more than a short file needs. A
// workshop sends a reading at a time, and room is cleared each time.
func roomFor(in io.Reader, most int) int {
	if short, ok := in.(*bytes.Reader); ok {
		return min(most, short.Len()+1) // and its end is seen
	}
	return most
}

// peek returns the beginning of the file, all of a short one.
func peek(in *bufio.Reader) ([]byte, error) {
	head, err := in.Peek(min(headBytes, in.Size()))
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return head, nil
}

// foreign says what a file is that we do not read, and what to do; "" when it
// may be one of ours.
func foreign(head []byte) string {
	lower := strings.ToLower(string(bytes.TrimLeft(head[:min(len(head), 512)], "\xef\xbb\xbf \t\r\n")))
	for _, f := range []struct{ magic, fault string }{
		{"\xd0\xcf\x11\xe0", "this is a spreadsheet of the old kind or one with a password: save it as .xlsx without a password, or as CSV"},
		{"%pdf", "this is a PDF: hand in the spreadsheet it was made from, or enter the readings by hand"},
		{"\x89PNG", "this is a picture: enter the readings by hand"},
		{"\xff\xd8\xff", "this is a picture: enter the readings by hand"},
		{"\x1f\x8b", "this is a packed file: unpack it first"},
		{"{\\rtf", "this is a word processor's file: save the table as .xlsx or CSV"},
		{"<", "this is a web page or XML, whatever its name says: open it in a spreadsheet program and save it as .xlsx or CSV"},
	} {
		if strings.HasPrefix(lower, f.magic) || bytes.HasPrefix(head, []byte(f.magic)) {
			return f.fault
		}
	}
	utf16 := bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff"))
	if !utf16 && !bytes.HasPrefix(head, []byte("PK\x03\x04")) && 10*bytes.Count(head, []byte{0}) > len(head) {
		return "this is not text: save it as .xlsx or as CSV in UTF-8"
	}
	return ""
}

// meter hashes and bounds what is read through it.
type meter struct {
	r    io.Reader
	name string
	max  int64
	left int64
	hash hash.Hash
	done atomic.Int64 // bytes read; others may look while one reads
}

func newMeter(r io.Reader, name string, max int64) *meter {
	return &meter{r: r, name: name, max: max, left: max, hash: sha256.New()}
}

func (m *meter) Read(p []byte) (int, error) {
	n, err := m.r.Read(p)
	m.hash.Write(p[:n])
	m.done.Add(int64(n))
	if m.left -= int64(n); m.left < 0 {
		return 0, fleet.Invalidf("%s: larger than %s: split the file", m.name, size(m.max))
	}
	return n, err
}

// drain reads what is left, for its hash, and returns io.EOF.
func (m *meter) drain() error {
	if _, err := io.Copy(io.Discard, m); err != nil {
		return err
	}
	return io.EOF
}

func (m *meter) sum() string { return hex.EncodeToString(m.hash.Sum(nil)) }

// size writes a number of bytes for people.
func size(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d bytes", n)
	}
	return fmt.Sprintf("%d MB", n>>20)
}
