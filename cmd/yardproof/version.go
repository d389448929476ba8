package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
)

// version is set by the package build (-ldflags -X main.version=...).
var version = "devel"

func versionCommand() command {
	return command{
		name: "version",
		does: "Print version, commit and Go version",
		define: func(*pflag.FlagSet) func(context.Context, stdio, []string) error {
			return func(_ context.Context, std stdio, args []string) error {
				if len(args) > 0 {
					return cli.Usagef("unexpected argument %q", args[0])
				}
				_, err := fmt.Fprintf(std.out, "yardproof %s, commit %s, %s %s/%s\n", version, commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
				return err
			}
		},
	}
}

// commit is what the toolchain recorded of the checkout it built from.
func commit() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, modified := "unknown", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			modified = " with changes"
		}
	}
	return revision + modified
}
