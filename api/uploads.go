package api

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

func uploadOf(up *fleet.Upload) Upload {
	return Upload{
		ID:       up.ID,
		Kind:     up.Kind,
		Name:     up.Name,
		SHA256:   up.SHA256,
		By:       up.By,
		At:       up.At.UTC(),
		Accepted: up.Accepted,
		Refused:  up.Refused,
		Repeated: up.Repeated,
		Doubtful: up.Doubtful,
	}
}

func problemOf(p *fleet.Problem) Problem {
	return Problem{p.Line, p.Column, p.Read, p.Message, p.Refused, p.Doubtful}
}

// DetailOf puts an upload, with each row that there is something to say of, into
// the form in which programs read it.
func DetailOf(up *fleet.Upload) UploadDetail { return detailOf(up) }

func detailOf(up *fleet.Upload) UploadDetail {
	return UploadDetail{uploadOf(up), items(up.Problems, problemOf)}
}

// uploads answers with a page of the uploads, newest first.
func (a *API) uploads(c *gin.Context) error {
	q := &query{c: c}
	before, limit := q.before(), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	// One more than asked for tells whether there is a page after.
	ups, err := a.svc.DB.Uploads(c.Request.Context(), a.scope(c), limit, before)
	if err != nil {
		return err
	}
	next := ""
	if len(ups) == limit {
		last := ups[len(ups)-1].ID
		more, err := a.svc.DB.Uploads(c.Request.Context(), a.scope(c), 1, last)
		if err != nil {
			return err
		}
		if len(more) > 0 {
			next = strconv.FormatInt(last, 10)
		}
	}
	return sendPage(c, items(ups, uploadOf), next, nil)
}

func (a *API) upload(c *gin.Context) error {
	id, err := idAlone(c, "upload")
	if err != nil {
		return err
	}
	up, err := a.svc.DB.Upload(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, detailOf(&up))
}

// takeFile takes in a file: the body itself, or the part "file" of a form.
func (a *API) takeFile(c *gin.Context) error {
	q := &query{c: c}
	key := idempotencyKey(q)
	f, err := fileSent(q)
	if err != nil {
		return err
	}
	f.Key = key
	return a.take(c, f)
}

// fileOf returns the file of a request and its name.
func fileOf(c *gin.Context) (string, io.Reader, error) {
	const unnamed = "upload"
	kind, _, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if err != nil || kind != "multipart/form-data" {
		name := unnamed
		if _, params, err := mime.ParseMediaType(c.GetHeader("Content-Disposition")); err == nil && params["filename"] != "" {
			name = params["filename"]
		}
		return name, c.Request.Body, nil
	}
	form, err := c.Request.MultipartReader()
	if err != nil {
		return "", nil, fleet.Invalidf("the form cannot be read (%v): send it as multipart/form-data with a part \"file\"", err)
	}
	for {
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			return "", nil, fleet.Invalidf("the form has no part \"file\"")
		}
		if berr := web.BodyError(err); berr != nil {
			return "", nil, berr
		}
		if err != nil {
			return "", nil, fleet.Invalidf("the form cannot be read (%v): send it again", err)
		}
		if part.FormName() == "file" {
			if part.FileName() == "" {
				return unnamed, part, nil
			}
			return part.FileName(), part, nil
		}
	}
}

// maxKey bounds an idempotency key: a UUID has 36 characters.
const maxKey = 255

// idempotencyKey reads the sender's own name for the request, from the header
// that the IETF draft "The Idempotency-Key HTTP Header Field" describes.
func idempotencyKey(q *query) string {
	key := q.c.GetHeader("Idempotency-Key")
	if len(key) > maxKey {
		q.fault("Idempotency-Key", "", "longer than %d characters: a UUID will do", maxKey)
	}
	return key
}

// maxFaults bounds the faults of one answer; the upload has them all.
const maxFaults = 100

// take takes a file in and answers with what became of it.
func (a *API) take(c *gin.Context, f pipeline.File) error {
	up, _, err := a.svc.TakeIn(c.Request.Context(), a.scope(c), a.sender(c), f, a.svc.Today())
	if err != nil {
		return err
	}
	self := Prefix + "/uploads/" + url.PathEscape(strconv.FormatInt(up.ID, 10))
	c.Header("Location", self)
	if up.Refused > 0 && up.Accepted == 0 && up.Repeated == 0 {
		// Kept as an upload all the same, to be looked up; but a sender who
		// looks at the status alone must see that nothing was taken.
		e := &web.FaultsError{
			Status: http.StatusUnprocessableEntity,
			Detail: fmt.Sprintf("None of the %d rows can be taken; %s has all the faults.", up.Refused, self),
		}
		for _, p := range up.Problems[:min(len(up.Problems), maxFaults)] {
			e.Faults = append(e.Faults, web.Fault{Line: p.Line, Column: p.Column, Read: p.Read, Detail: p.Message})
		}
		return e
	}
	status := http.StatusCreated
	if up.Accepted == 0 {
		status = http.StatusOK // all of it was there already
	}
	return send(c, status, detailOf(&up))
}
