package pipeline

import (
	"fmt"
	"runtime/debug"
)

// beside runs fn while the caller goes on. wait waits for it and returns its
// error; where fn panics it is wait that does, so that what goes wrong with one
// upload ends no others.
func beside(fn func() error) (wait func() error) {
	var err error
	var gone string // why, and where
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer func() {
			if p := recover(); p != nil {
				gone = fmt.Sprintf("%v\n%s", p, debug.Stack())
			}
		}()
		err = fn()
	}()
	return func() error {
		<-done
		if gone != "" {
			panic(gone)
		}
		return err
	}
}

// caught runs fn and makes an error of a panic, with its stack: for work that
// nobody stands above, whose panic would end the program and all that it is at.
func caught(fn func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return fn()
}
