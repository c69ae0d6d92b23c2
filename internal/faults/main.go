// Command faults runs every test that shows a fault, those named TestFault…,
// and prints a table of them in Markdown: the fault, what is shown, on which
// database, the figures that the test gave and whether it passed. It never
// leaves out one that failed or was skipped.
//
// A test takes part by its name. Of its comment the first sentence says the
// fault and the rest what is shown. Its figures are attributes:
// t.Attr("longest-answer", "1.2 s") prints as "longest answer 1.2 s".
package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"slices"
)

func main() {
	if err := run(os.Args[1:], os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
}

func run(args []string, stdout, stderr io.Writer) error {
	f := flag.NewFlagSet("faults", flag.ContinueOnError)
	f.SetOutput(stderr)
	race := f.Bool("race", false, "with the race detector")
	match := f.String("run", "", "only tests whose name matches this `pattern`")
	timeout := f.String("timeout", "45m", "for the tests of one package")
	if err := f.Parse(args); err != nil {
		return err
	}
	pattern, err := regexp.Compile(*match)
	if err != nil {
		return err
	}
	tests, err := find(".")
	if err != nil {
		return err
	}
	tests = slices.DeleteFunc(tests, func(t test) bool { return !pattern.MatchString(t.name) })
	if len(tests) == 0 {
		return errors.New("no such test")
	}
	// One package after another: the figures are times, too.
	goArgs := []string{"test", "-json", "-count=1", "-p=1", "-vet=off", "-run", names(tests), "-timeout", *timeout}
	if *race {
		goArgs = append(goArgs, "-race", "-gcflags=modernc.org/sqlite/lib=-race=false") // as make test does
	}
	cmd := exec.Command("go", append(goArgs, packages(tests)...)...)
	cmd.Stderr = stderr
	var events bytes.Buffer
	cmd.Stdout = &events
	failed := cmd.Run()
	rows, said, err := read(&events, tests)
	if err != nil {
		return errors.Join(err, failed)
	}
	if err := write(stdout, rows); err != nil {
		return err
	}
	if failed != nil {
		return fmt.Errorf("go test: %w\n%s", failed, said)
	}
	for _, r := range rows {
		if r.result == passed {
			return nil
		}
	}
	return errors.New("no test ran")
}
