package store

import (
	"context"
	"database/sql/driver"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// copyChunk is how much text of a COPY is handed to the driver at a time. Row by
// row, value by value, handing it over took a fifth of the program's own part in
// an import.
const copyChunk = 32 << 10

// copying is a COPY … FROM STDIN that takes whole lines of its text format, any
// number of them at a time; no argument ends it.
type copying struct {
	driver.Stmt
}

// copyingOf is the statement as such where query is a COPY.
func copyingOf(query string, s driver.Stmt) driver.Stmt {
	if strings.HasPrefix(query, "copy ") {
		return copying{s}
	}
	return s
}

func (c copying) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	if len(args) == 0 {
		//lint:ignore SA1019 the driver knows no other
		return c.Stmt.Exec(nil)
	}
	lines, ok := args[0].Value.(string)
	if !ok || len(args) > 1 {
		return nil, fmt.Errorf("copy: want lines of text, not %d values", len(args))
	}
	// Not ctx: the driver would ask the server to cancel beside the COPY that
	// still reads the connection.
	return c.Stmt.(interface {
		CopyData(ctx context.Context, line string) (driver.Result, error)
	}).CopyData(context.Background(), lines)
}

// appendCopy appends a row as a line of COPY's text format (PostgreSQL 15, COPY,
// "Text Format").
func appendCopy(b []byte, row []any) (_ []byte, err error) {
	for i, v := range row {
		if i > 0 {
			b = append(b, '\t')
		}
		if b, err = appendCopied(b, v); err != nil {
			return b, err
		}
	}
	return append(b, '\n'), nil
}

func appendCopied(b []byte, v any) ([]byte, error) {
	switch v := v.(type) {
	case nil:
		return append(b, `\N`...), nil
	case string:
		return appendEscaped(b, v), nil
	case int:
		return strconv.AppendInt(b, int64(v), 10), nil
	case int64:
		return strconv.AppendInt(b, v, 10), nil
	case float64:
		return strconv.AppendFloat(b, v, 'g', -1, 64), nil
	case bool:
		return strconv.AppendBool(b, v), nil
	case []byte:
		b = append(b, `\\x`...)
		return hex.AppendEncode(b, v), nil
	case time.Time:
		return v.AppendFormat(b, time.RFC3339Nano), nil
	}
	plain, err := driver.DefaultParameterConverter.ConvertValue(v)
	if err != nil {
		return b, err
	}
	return appendCopied(b, plain)
}

func appendEscaped(b []byte, s string) []byte {
	for {
		i := strings.IndexAny(s, "\\\n\r\t")
		if i < 0 {
			return append(b, s...)
		}
		b = append(b, s[:i]...)
		b = append(b, '\\', map[byte]byte{'\\': '\\', '\n': 'n', '\r': 'r', '\t': 't'}[s[i]])
		s = s[i+1:]
	}
}
