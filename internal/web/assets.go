package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"
)

// Assets are static files under names that change with their content, so that
// browsers may keep them for ever.
type Assets struct {
	prefix string
	hashed map[string]string // name -> hashed name
	files  map[string]asset  // hashed name -> file
}

type asset struct {
	contentType string
	body        []byte
}

// hashLength in hex digits: 48 bits keep two versions of one file apart.
const hashLength = 12

// fontType, and that of plain text, is what not every machine's table has.
const fontType = "font/woff2"

// cssURL is how a style sheet names another file of its folder.
var cssURL = regexp.MustCompile(`url\("([^":]+)"\)`)

// NewAssets reads every file of fsys, to be served under prefix ("/static/"). A
// style sheet names another file as url("name"), which is given its hashed name.
func NewAssets(fsys fs.FS, prefix string) (*Assets, error) {
	a := &Assets{prefix: prefix, hashed: map[string]string{}, files: map[string]asset{}}
	var sheets []string // after what they may name
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if path.Ext(name) == ".css" {
			sheets = append(sheets, name)
			return nil
		}
		return a.add(fsys, name)
	})
	for _, name := range sheets {
		if err == nil {
			err = a.add(fsys, name)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("static files: %w", err)
	}
	return a, nil
}

func (a *Assets) add(fsys fs.FS, name string) error {
	body, err := fs.ReadFile(fsys, name)
	if err != nil {
		return err
	}
	ext := path.Ext(name)
	contentType := mime.TypeByExtension(ext)
	switch ext {
	case ".woff2":
		contentType = fontType
	case ".txt":
		contentType = "text/plain; charset=utf-8"
	case ".css":
		body = cssURL.ReplaceAllFunc(body, func(m []byte) []byte {
			named := string(cssURL.FindSubmatch(m)[1])
			hashed, ok := a.hashed[named]
			if !ok {
				err = fmt.Errorf("%s: no static file %q", name, named)
			}
			return []byte(`url("` + hashed + `")`)
		})
		if err != nil {
			return err
		}
	}
	if contentType == "" {
		return fmt.Errorf("%s: no content type is known for %q", name, ext)
	}
	sum := sha256.Sum256(body)
	hashed := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:])[:hashLength] + ext
	a.hashed[name] = hashed
	a.files[hashed] = asset{contentType, body}
	return nil
}

// Path returns the address of the file called name. An unknown name is an
// error, which a template reports when it is executed.
func (a *Assets) Path(name string) (string, error) {
	hashed, ok := a.hashed[name]
	if !ok {
		return "", fmt.Errorf("no static file %q", name)
	}
	return a.prefix + hashed, nil
}

// Register serves the files.
func (a *Assets) Register(r gin.IRouter) {
	serve := Handle(a.serve)
	r.GET(a.prefix+"*name", serve)
	r.HEAD(a.prefix+"*name", serve)
}

func (a *Assets) serve(c *gin.Context) error {
	f, ok := a.files[strings.TrimPrefix(c.Param("name"), "/")]
	if !ok {
		return &StatusError{http.StatusNotFound, "There is no such file, or it has changed since the page was made: load the page again."}
	}
	c.Header("Cache-Control", "public, max-age=31536000, immutable")
	if f.contentType == fontType { // compressed in itself
		c.Data(http.StatusOK, f.contentType, f.body)
		return nil
	}
	Send(c, http.StatusOK, f.contentType, f.body)
	return nil
}
