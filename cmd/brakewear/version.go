package main

import (
	"fmt"
	"runtime/debug"
)

// version is set by the linker in a release (-ldflags "-X main.version=…").
var version = ""

type versionCmd struct{}

func (versionCmd) Help() string {
	return `Example:
  brakewear version`
}

func (versionCmd) Run(e *env) error {
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
