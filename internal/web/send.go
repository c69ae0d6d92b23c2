package web

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"
)

// worthZipping is the size from which compression saves a packet: less than
// about 1,400 bytes go in one anyway.
const worthZipping = 1400

// zippers are reused, for each holds some 800 kB of tables. The fastest level:
// a long page shrinks to a fifth in a millisecond, the best level gains another
// tenth in five.
var zippers = sync.Pool{New: func() any {
	w, err := gzip.NewWriterLevel(nil, gzip.BestSpeed)
	if err != nil {
		panic(err) // the level is a constant
	}
	return w
}}

// Send answers with a whole body, compressed where the client takes that.
func Send(c *gin.Context, status int, contentType string, body []byte) {
	h := c.Writer.Header()
	h.Add("Vary", "Accept-Encoding")
	if len(body) >= worthZipping && takesGzip(c.Request) {
		var b bytes.Buffer
		z := zippers.Get().(*gzip.Writer)
		z.Reset(&b)
		z.Write(body) // a bytes.Buffer takes everything
		z.Close()
		zippers.Put(z)
		h.Set("Content-Encoding", "gzip")
		body = b.Bytes()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	c.Data(status, contentType, body)
}

// Stream returns what a body of any length is written to, compressed where the
// client takes that. It is whole once that is closed.
func Stream(c *gin.Context) io.WriteCloser {
	h := c.Writer.Header()
	h.Add("Vary", "Accept-Encoding")
	if !takesGzip(c.Request) {
		return plain{c.Writer}
	}
	h.Set("Content-Encoding", "gzip")
	z := zippers.Get().(*gzip.Writer)
	z.Reset(c.Writer)
	return zipped{z}
}

type plain struct{ io.Writer }

func (plain) Close() error { return nil }

type zipped struct{ *gzip.Writer }

func (z zipped) Close() error {
	defer zippers.Put(z.Writer)
	return z.Writer.Close()
}

// takesGzip reads Accept-Encoding (RFC 9110, 12.5.3) as far as it matters
// here: gzip is named, and not with a weight of zero.
func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		coding, params, _ := strings.Cut(strings.TrimSpace(part), ";")
		if !strings.EqualFold(strings.TrimSpace(coding), "gzip") {
			continue
		}
		weight, ok := strings.CutPrefix(strings.TrimSpace(params), "q=")
		if !ok {
			return true
		}
		q, err := strconv.ParseFloat(weight, 64)
		return err == nil && q > 0
	}
	return false
}
