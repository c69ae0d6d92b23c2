package api

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/web"
)

// TestDocumentSecurity wants every operation to name the right that the routes'
// table asks for, and the answers that follow from it.
func TestDocumentSecurity(t *testing.T) {
	d := readDocument(t)
	seen := 0
	for _, rule := range web.Routes {
		path, ok := strings.CutPrefix(rule.Path, Prefix)
		if !ok {
			continue
		}
		seen++
		name, op := d.operation(rule.Method, path)
		if op == nil {
			t.Errorf("%s %s: the document has no such operation", rule.Method, path)
			continue
		}
		security, ok := op["security"].([]any)
		if !ok {
			t.Errorf("%s: says nothing of security", name)
			continue
		}
		var schemes, rights []string
		for _, s := range security {
			for scheme, takes := range s.(map[string]any) {
				schemes = append(schemes, scheme)
				for _, right := range takes.([]any) {
					rights = append(rights, right.(string))
				}
			}
		}
		wantSchemes, wantRights := []string{"token"}, []string{string(rule.Right)}
		answers := []string{"401", "403", "503"}
		switch rule.Right {
		case auth.Public:
			wantSchemes, wantRights, answers = nil, nil, nil
		case auth.Own:
			wantRights = nil
		}
		if rule.Method != http.MethodGet {
			answers = append(answers, "429")
		}
		if !slices.Equal(schemes, wantSchemes) || !slices.Equal(rights, wantRights) {
			t.Errorf("%s: the document has %v %v, the routes' table %v %v", name, schemes, rights, wantSchemes, wantRights)
		}
		responses := op["responses"].(map[string]any)
		for _, status := range []string{"401", "403", "429", "503"} {
			if _, has := responses[status]; has != slices.Contains(answers, status) {
				t.Errorf("%s: answer %s is in the document: %v, want %v", name, status, has, !has)
			}
		}
	}
	if ops := d.operations(); seen != len(ops) {
		t.Errorf("the document has %d operations, the routes' table %d", len(ops), seen)
	}
	scheme := d.at("components", "securitySchemes", "token")
	if scheme["type"] != "http" || scheme["scheme"] != "bearer" { // RFC 6750
		t.Errorf("the token's scheme: got %v", scheme)
	}
}
