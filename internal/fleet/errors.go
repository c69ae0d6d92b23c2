package fleet

import (
	"errors"
	"fmt"
	"strings"
	"syscall"
	"time"
)

// Kinds of error that a caller can act on. Everything else is internal: it is
// logged once and shown to nobody.
var (
	// ErrNotFound: no such record, or none that the caller's scope may see.
	ErrNotFound = errors.New("not found")
	// ErrInvalid: the input is wrong; the message says where and what to do.
	ErrInvalid = errors.New("invalid")
	// ErrConflict: the change clashes with what is already recorded.
	ErrConflict = errors.New("conflict")
	// ErrUnavailable: the database cannot be reached now; try again later.
	ErrUnavailable = errors.New("unavailable")
	// ErrStranger: nobody is signed in, or not with what was given.
	ErrStranger = errors.New("not signed in")
	// ErrDenied: whoever is signed in may not do this.
	ErrDenied = errors.New("not allowed")
	// ErrFull, an ErrUnavailable: there is no space left to write to. Nothing
	// was stored.
	ErrFull error = &kindError{ErrUnavailable, "no space is left on the disk; nothing was stored: make room, then do it again"}
	// ErrReadOnly, an ErrUnavailable: what is there can be read and nothing
	// stored.
	ErrReadOnly error = &kindError{ErrUnavailable, "the disk or the database is read-only; nothing was stored"}
	// ErrUnsure, an ErrUnavailable: the line was cut while a change was being
	// made final, and it may be stored or not.
	ErrUnsure error = &kindError{ErrUnavailable, "the connection was lost at the last moment, and it is not known whether the change was stored"}
	// ErrDamaged: the database is not whole. Trying again does not help.
	ErrDamaged = errors.New("the database is damaged: enter nothing more, keep the file, and restore the last backup")
)

// DiskError gives an error of a file its kind, where that is ErrFull or
// ErrReadOnly, and leaves others as they are.
func DiskError(err error) error {
	switch {
	case errors.Is(err, ErrUnavailable): // has it
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w: %w", ErrFull, err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w: %w", ErrReadOnly, err)
	}
	return err
}

// OneOf lists the words that are allowed, for a message.
func OneOf[T ~string](words []T) string {
	var b strings.Builder
	for i, w := range words {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(string(w))
	}
	return b.String()
}

// Invalidf returns an ErrInvalid with a message for the person who can fix it.
func Invalidf(format string, args ...any) error {
	return &kindError{ErrInvalid, fmt.Sprintf(format, args...)}
}

// NotFoundf returns an ErrNotFound that names what was looked for.
func NotFoundf(format string, args ...any) error {
	return &kindError{ErrNotFound, fmt.Sprintf(format, args...)}
}

// Conflictf returns an ErrConflict that says what it clashes with.
func Conflictf(format string, args ...any) error {
	return &kindError{ErrConflict, fmt.Sprintf(format, args...)}
}

// Strangerf returns an ErrStranger that says what to do.
func Strangerf(format string, args ...any) error {
	return &kindError{ErrStranger, fmt.Sprintf(format, args...)}
}

// Deniedf returns an ErrDenied that says who may.
func Deniedf(format string, args ...any) error {
	return &kindError{ErrDenied, fmt.Sprintf(format, args...)}
}

// WaitError is an ErrDenied for some time: too much was asked in too little.
type WaitError struct {
	For time.Duration
	Why string
}

func (e *WaitError) Error() string { return e.Why }

// kindError carries a message fit for people and the kind it belongs to.
type kindError struct {
	kind error
	msg  string
}

func (e *kindError) Error() string { return e.msg }
func (e *kindError) Unwrap() error { return e.kind }
