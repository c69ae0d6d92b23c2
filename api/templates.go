package api

import (
	"bytes"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
)

// columns answers with the kinds of files and their columns.
func (a *API) columns(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	return send(c, http.StatusOK, List[Kind]{items(ingest.Kinds, func(k *ingest.Kind) Kind {
		out := Kind{
			Kind: string(*k),
			Columns: items(ingest.Columns(*k), func(x *ingest.Column) Column {
				return Column{x.Name, x.Unit, x.Required, x.Help, x.Example, items(x.Synonyms, func(s *string) string { return *s })}
			}),
		}
		for _, format := range ingest.Formats {
			out.Templates = append(out.Templates, Prefix+"/templates/"+string(*k)+"."+format)
		}
		return out
	})})
}

// template answers with an empty file to fill in, such as readings.xlsx.
func (a *API) template(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	kind, format, _ := strings.Cut(c.Param("file"), ".")
	var b bytes.Buffer
	if err := ingest.Template(&b, ingest.Kind(kind), format); err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="`+kind+"."+format+`"`)
	types := map[string]string{
		"csv":  "text/csv; charset=utf-8; header=present",
		"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	}
	c.Data(http.StatusOK, types[format], b.Bytes())
	return nil
}
