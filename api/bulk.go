package api

import (
	"bufio"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// takeRows takes in an array of objects of kind k, with the names of the
// file's columns.
func (a *API) takeRows(k ingest.Kind) func(*gin.Context) error {
	return func(c *gin.Context) error {
		kind, _, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
		if err != nil || kind != "application/json" && !strings.HasSuffix(kind, "+json") {
			return &web.FaultsError{
				Status: http.StatusUnsupportedMediaType,
				Detail: "Send an array of objects as application/json; files go to " + Prefix + "/uploads.",
			}
		}
		body := bufio.NewReader(c.Request.Body)
		if first, err := firstSign(body); errors.Is(err, io.EOF) || err == nil && first != '[' && first != byteOrder {
			return fleet.Invalidf("body: want an array of objects, such as [{\"vehicle\": \"Bus 114\", …}]; files go to %s/uploads", Prefix)
		}
		q := &query{c: c}
		f := pipeline.File{
			Name: "POST /" + string(k),
			Kind: k,
			Body: body,
			Key:  idempotencyKey(q),
		}
		if err := q.err(); err != nil {
			return err
		}
		return a.take(c, f)
	}
}

// byteOrder begins the mark of UTF-8 that some programs write.
const byteOrder = 0xEF

// firstSign looks at the first byte that is no blank, and leaves it there.
func firstSign(r *bufio.Reader) (byte, error) {
	for {
		b, err := r.ReadByte()
		if err != nil {
			return 0, err
		}
		if !strings.ContainsRune(" \t\r\n", rune(b)) {
			return b, r.UnreadByte()
		}
	}
}
