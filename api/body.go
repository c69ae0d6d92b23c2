package api

import (
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// readJSON reads a body of one object, and of nothing it does not know.
func readJSON(c *gin.Context, v any) error {
	dec := json.NewDecoder(c.Request.Body)
	dec.DisallowUnknownFields()
	err := dec.Decode(v)
	if berr := web.BodyError(err); berr != nil {
		return berr
	}
	if err == nil {
		// More() would take a bracket for the end of what is around it.
		if _, end := dec.Token(); !errors.Is(end, io.EOF) {
			if berr := web.BodyError(end); berr != nil {
				return berr
			}
			err = errors.New("something follows the object: send one object alone")
		}
	}
	if err != nil {
		return fleet.Invalidf("body: %v", inWords(err))
	}
	return nil
}

// inWords says what is wrong with a body to somebody who does not know what it is
// read into.
func inWords(err error) error {
	if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		// Names of embedded structs, which are in capitals, are ours.
		path := strings.Split(t.Field, ".")
		for len(path) > 1 && (path[0] == "" || path[0] != strings.ToLower(path[0])) {
			path = path[1:]
		}
		where := strings.Join(path, ".")
		if where != "" {
			where += ": "
		}
		number, _ := strings.CutPrefix(t.Value, "number ") // which one, where only its value is amiss
		if x, _ := strconv.ParseFloat(number, 64); math.Abs(x) >= math.MaxInt64 {
			return fmt.Errorf("%s%s is too large", where, number)
		}
		return fmt.Errorf("%swant %s, not %s", where, wanted(t.Type), number)
	}
	if t, ok := errors.AsType[*json.SyntaxError](err); ok {
		return fmt.Errorf("not JSON near byte %d: %v", t.Offset, t)
	}
	switch {
	case errors.Is(err, io.EOF):
		return errors.New("nothing was sent: send an object")
	case errors.Is(err, io.ErrUnexpectedEOF):
		return errors.New("not JSON: it ends before the object does")
	}
	return errors.New(strings.TrimPrefix(err.Error(), "json: ")) // of a name that nobody knows
}

// wanted is what JSON has for a type.
func wanted(t reflect.Type) string {
	if reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]()) {
		return "text"
	}
	switch t.Kind() {
	case reflect.Pointer:
		return wanted(t.Elem())
	case reflect.Struct, reflect.Map:
		return "an object"
	case reflect.Slice, reflect.Array:
		return "an array"
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Float32, reflect.Float64:
		return "a number"
	}
	return "a whole number"
}
