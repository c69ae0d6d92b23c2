// Command brakewear forecasts brake wear for vehicle fleets and plans the
// work. A subcommand never does otherwise what a page or a scheduled job does
// too: they call the same function of package pipeline.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // the next signal ends it at once
	err := run(ctx, os.Args[1:], os.Getenv, os.Stdout, os.Stderr)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "brakewear:", err)
		os.Exit(exitCode(err))
	}
}
