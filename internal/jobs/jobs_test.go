package jobs

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"
)

func TestRunRefusesABadTime(t *testing.T) {
	err := Run(t.Context(), slog.New(slog.DiscardHandler), time.UTC, []Job{{Name: "refit", Spec: "25 o'clock"}})
	if err == nil || !strings.Contains(err.Error(), "refit") {
		t.Errorf("got %v, want an error that names the job", err)
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		done <- Run(ctx, slog.New(slog.DiscardHandler), time.UTC, []Job{{Name: "refit", Spec: "0 3 * * *"}})
	}()
	cancel()
	if err := <-done; err != nil {
		t.Errorf("got %v, want nil", err)
	}
}

func TestRunOneOutlivesFaults(t *testing.T) {
	for _, tt := range []struct {
		name string
		run  func(context.Context) error
		want string
	}{
		{"done", func(context.Context) error { return nil }, "job done"},
		{"failed", func(context.Context) error { return errors.New("no database") }, "no database"},
		{"panicked", func(context.Context) error { panic("bad row") }, "bad row"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out bytes.Buffer
			runOne(t.Context(), slog.New(slog.NewTextHandler(&out, nil)), Job{Name: tt.name, Run: tt.run})
			if got := out.String(); !strings.Contains(got, tt.want) {
				t.Errorf("logged %q, want %q in it", got, tt.want)
			}
		})
	}
}
