package main

import (
	"fmt"
	"runtime/debug"
)

// version is set by the linker in a release (-ldflags "-X main.version=…").
var version = ""

type versionCmd struct{}

func (versionCmd) Run(e *env) error {
	v := version
	if v == "" {
		v = "development"
		if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
			v = info.Main.Version
		}
	}
	_, err := fmt.Fprintln(e.stdout, "brakewear", v)
	return err
}
