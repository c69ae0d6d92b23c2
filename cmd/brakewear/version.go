package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// version is set by the linker in a release (-ldflags "-X main.version=…").
var version = ""

type versionCmd struct{ listed }

func (versionCmd) Help() string {
	return `Examples:
  brakewear version
  brakewear version --format json`
}

// versionLine is what was built, as JSON.
type versionLine struct {
	Version  string `json:"version"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

func (c versionCmd) Run(e *env) error {
	if c.json() {
		return e.printJSON(versionLine{programVersion(), runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH})
	}
	_, err := fmt.Fprintln(e.stdout, "brakewear", programVersion())
	return err
}

// programVersion is what a release was given, or where this was built from.
func programVersion() string {
	if version != "" {
		return version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "development"
}
