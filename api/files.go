package api

import (
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

func checkOf(c *pipeline.Checked) *FileCheck {
	out := &FileCheck{
		Kind:     c.Upload.Kind,
		Accepted: c.Upload.Accepted,
		Refused:  c.Upload.Refused,
		Repeated: c.Upload.Repeated,
		Doubtful: c.Upload.Doubtful,
		Problems: items(c.Upload.Problems, problemOf),
		First:    c.First,
	}
	if out.First == nil {
		out.First = []pipeline.ReadRow{}
	}
	if c.Before != nil && c.Before.ID != 0 {
		out.Before = &c.Before.ID
	}
	return out
}

func fileOfKept(k *store.KeptFile) (File, error) {
	f := File{
		ID:        k.ID,
		Name:      k.Name,
		SHA256:    k.SHA256,
		By:        k.By,
		At:        k.At.UTC(),
		Expires:   k.Expires.UTC(),
		State:     string(k.State),
		Bytes:     k.Bytes,
		ReadBytes: k.ReadBytes,
		ReadRows:  k.ReadRows,
		Fault:     k.Fault,
	}
	if k.UploadID != 0 {
		f.UploadID = &k.UploadID
	}
	if k.State == store.FileChecked {
		c, _, err := pipeline.CheckedOf(k)
		if err != nil {
			return f, err
		}
		f.Check = checkOf(&c)
	}
	return f, nil
}

// sendFile answers with a kept file: 202 while it is worked on.
func sendFile(c *gin.Context, k *store.KeptFile) error {
	f, err := fileOfKept(k)
	if err != nil {
		return err
	}
	c.Header("Location", fmt.Sprintf("%s/files/%d", Prefix, k.ID))
	status := http.StatusOK
	if k.State.Working() {
		status = http.StatusAccepted
		c.Header("Retry-After", "2")
	}
	return send(c, status, f)
}

// check says what would become of a file, which is not kept.
func (a *API) check(c *gin.Context) error {
	f, err := fileSent(&query{c: c})
	if err != nil {
		return err
	}
	checked, err := a.svc.Check(c.Request.Context(), a.scope(c), a.sender(c), f)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, checkOf(&checked))
}

// keepFile keeps a file and checks it, or takes it in at once.
func (a *API) keepFile(c *gin.Context) error {
	q := &query{c: c}
	direct := q.truth("take")
	f, err := fileSent(q)
	if err != nil {
		return err
	}
	k, err := a.svc.HandIn(c.Request.Context(), a.scope(c), a.sender(c), f, direct != nil && *direct)
	if err != nil {
		return err
	}
	if k.State == store.FileUnreadable {
		return fleet.Invalidf("%s", k.Fault)
	}
	return sendFile(c, &k)
}

// fileSent reads the file of a request and how it is to be read; q must have
// been asked for all other parameters.
func fileSent(q *query) (pipeline.File, error) {
	f := pipeline.File{
		Kind:      oneOf(q, "kind", ingest.Kinds...),
		DateOrder: oneOf(q, "dates", ingest.DateOrders...),
		Name:      q.text("name"),
	}
	if err := q.err(); err != nil {
		return f, err
	}
	name, body, err := fileOf(q.c)
	f.Body = body
	if f.Name == "" {
		f.Name = name
	}
	return f, err
}

func (a *API) file(c *gin.Context) error {
	id, err := idAlone(c, "file")
	if err != nil {
		return err
	}
	k, err := a.svc.Kept(c.Request.Context(), a.scope(c), a.sender(c), id)
	if err != nil {
		return err
	}
	f, err := fileOfKept(&k)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, f)
}

// takeKept takes a checked file in.
func (a *API) takeKept(c *gin.Context) error {
	id, err := idAlone(c, "file")
	if err != nil {
		return err
	}
	k, err := a.svc.TakeKept(c.Request.Context(), a.scope(c), a.sender(c), id)
	if err != nil {
		return err
	}
	return sendFile(c, &k)
}

// dropFile forgets a kept file.
func (a *API) dropFile(c *gin.Context) error {
	id, err := idAlone(c, "file")
	if err != nil {
		return err
	}
	if err := a.svc.DB.DropFile(c.Request.Context(), a.scope(c), a.sender(c), id); err != nil {
		return err
	}
	c.Status(http.StatusNoContent)
	return nil
}
