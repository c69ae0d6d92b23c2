// Package api serves JSON under /api/v1, a file per resource. openapi.yaml
// describes it, is served by it, and is compared with what the handlers answer
// by the tests.
//
// What goes over the wire are types of their own, beside their resource or in
// types.go. Errors are problem details (RFC 9457) that list the faults of a
// request with what to do about each.
//
// It never decides anything by itself: what a request does, a function of
// package pipeline or store does, as it does for a page.
package api
