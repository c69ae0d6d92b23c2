package main

import (
	"io"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
)

// barEvery is how often a bar is drawn anew at the most.
const barEvery = 100 * time.Millisecond

// bar shows how far something is on a terminal; nil shows nothing.
type bar struct{ *progressbar.ProgressBar }

// bar starts a bar of so many steps, -1 when that is not known. It is quiet
// where the error output is no terminal.
func (e *env) bar(what string, steps int64) *bar {
	if !terminal(e.stderr) {
		return nil
	}
	return &bar{progressbar.NewOptions64(steps,
		progressbar.OptionSetWriter(e.stderr),
		progressbar.OptionSetDescription(what),
		progressbar.OptionSetWidth(30),
		progressbar.OptionThrottle(barEvery),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(steps > 0),
	)}
}

// terminal says whether somebody looks at w as it is written.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// at moves the bar to a step, with other words. The bar's own errors are the
// terminal's, which nothing depends on.
func (b *bar) at(step int64, what string) {
	if b != nil {
		b.Describe(what)
		_ = b.Set64(step)
	}
}

func (b *bar) add(steps int64) {
	if b != nil {
		_ = b.Add64(steps)
	}
}

func (b *bar) done() {
	if b != nil {
		_ = b.Finish()
	}
}
