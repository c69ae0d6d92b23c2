package dashboard

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// find returns the elements of doc that a selector fits: compounds of tag,
// .class, #id and [name=value], parted by spaces for "within".
func find(doc *html.Node, selector string) []*html.Node {
	found := []*html.Node{doc}
	for compound := range strings.FieldsSeq(selector) {
		var next []*html.Node
		for _, n := range found {
			for d := range n.Descendants() {
				if d.Type == html.ElementNode && fits(d, compound) && !slices.Contains(next, d) {
					next = append(next, d)
				}
			}
		}
		found = next
	}
	return found
}

var simple = regexp.MustCompile(`^([a-z0-9]+)|\.([\w-]+)|#([\w-]+)|\[([\w-]+)(?:=([^\]]*))?\]`)

func fits(n *html.Node, compound string) bool {
	for _, m := range simple.FindAllStringSubmatch(compound, -1) {
		switch {
		case m[1] != "" && n.Data != m[1],
			m[2] != "" && !slices.Contains(strings.Fields(attr(n, "class")), m[2]),
			m[3] != "" && attr(n, "id") != m[3],
			m[4] != "" && !hasAttr(n, m[4]),
			m[5] != "" && attr(n, m[4]) != m[5]:
			return false
		}
	}
	return true
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func hasAttr(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}

// text is what a person reads of n, its spaces made one.
func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func parse(t *testing.T, page string) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func TestFind(t *testing.T) {
	doc := parse(t, `<main id="m"><p class="a b">one</p><div><p class="b">two <i data-x="1">three</i></p></div></main>`)
	for selector, want := range map[string]string{
		"p":             "one|two three",
		"p.a.b":         "one",
		"div .b":        "two three",
		"#m i[data-x]":  "three",
		"i[data-x=1]":   "three",
		"i[data-x=2]":   "",
		"p.c":           "",
		"main div p i":  "three",
		"span, nothing": "",
	} {
		var got []string
		for _, n := range find(doc, selector) {
			got = append(got, text(n))
		}
		if strings.Join(got, "|") != want {
			t.Errorf("%s: got %q, want %q", selector, got, want)
		}
	}
}
