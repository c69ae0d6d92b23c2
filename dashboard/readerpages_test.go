package dashboard

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
)

// session signs somebody in who wants quantities and days said like this.
func (w *world) session(t *testing.T, name string, r units.Reader) string {
	t.Helper()
	secret, err := storetest.SignIn(t.Context(), w.svc.DB, name, auth.Grant{Role: auth.Admin})
	if err != nil {
		t.Fatal(err)
	}
	who, err := w.svc.DB.SessionOf(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.svc.DB.SetReader(t.Context(), who, r); err != nil {
		t.Fatal(err)
	}
	return secret
}

// seenBy is the world as somebody sees it who wants quantities and days said like
// this.
func (w *world) seenBy(t *testing.T, name string, r units.Reader) *world {
	seen := *w
	seen.handler = signedIn(w.handler, w.session(t, name, r))
	return &seen
}

// published marks what keeps its unit and its date whoever reads it: values as
// they were published, what files have, and what people typed.
const published = "published"

// toldBy collects what a page says, with what it says to those who hear it, but
// for what is published and for the choices of a form.
func toldBy(n *html.Node, out *[]string) {
	switch {
	case n.Type == html.TextNode:
		if s := strings.TrimSpace(n.Data); s != "" {
			*out = append(*out, s)
		}
		return
	case n.Type == html.ElementNode:
		switch n.Data {
		case "script", "style", "option", "code", "q", "textarea":
			return
		}
		for _, a := range n.Attr {
			switch {
			case a.Key == "class" && strings.Contains(" "+a.Val+" ", " "+published+" "):
				return
			case a.Key == "aria-label" || a.Key == "title" || a.Key == "placeholder":
				*out = append(*out, a.Val)
			}
		}
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		toldBy(c, out)
	}
}

// TestEveryPageForItsReader walks every page as two readers: neither is told
// anything in the other's units or days.
func TestEveryPageForItsReader(t *testing.T) {
	w := island(t)
	pages := everyPage(t)
	month := `(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)`
	for _, reader := range []struct {
		name string
		units.Reader
		never *regexp.Regexp
	}{
		{"imperial", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.ISO},
			regexp.MustCompile(`\b(km|mm)\b|(?i:kilomet|millimet)|\b\d{1,2} ` + month + `\b|\b` + month + ` \d{1,2}\b`)},
		{"metric", units.Reader{},
			regexp.MustCompile(`/32\b|\d mi\b|\.\d+ in\b|\bmph\b|10,000 mi|\b\d{4}-\d{2}-\d{2}\b`)},
	} {
		t.Run(reader.name, func(t *testing.T) {
			seen := w.seenBy(t, reader.name, reader.Reader)
			for _, page := range pages {
				path, _, _ := strings.Cut(page.path, "#")
				rec := seen.get(path)
				if rec.Code != http.StatusOK && page.name != "not-found" {
					t.Errorf("%s: got %d", page.name, rec.Code)
					continue
				}
				var words []string
				toldBy(find(parse(t, rec.Body.String()), "body")[0], &words)
				for _, s := range words {
					if at := reader.never.FindStringIndex(s); at != nil {
						t.Errorf("%s: %q", page.name, s[max(0, at[0]-60):min(len(s), at[1]+30)])
					}
				}
			}
		})
	}
}
