package api

import (
	"mime"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
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
		q := &query{c: c}
		f := pipeline.File{
			Name: "POST /" + string(k),
			Kind: k,
			Body: c.Request.Body,
			Key:  idempotencyKey(q),
		}
		if err := q.err(); err != nil {
			return err
		}
		return a.take(c, f)
	}
}
