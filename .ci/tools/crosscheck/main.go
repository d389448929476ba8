// Command crosscheck type-checks the packages of the current directory and their
// tests, with all they import, for other systems. It compiles nothing, which for one
// system alone would take as long as compiling for this one.
//
//	crosscheck windows/amd64 linux/arm
package main

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/tools/go/packages"
)

func main() {
	bad := 0
	for _, target := range os.Args[1:] {
		system, arch, ok := strings.Cut(target, "/")
		if !ok {
			fmt.Fprintf(os.Stderr, "crosscheck: %q is not SYSTEM/ARCHITECTURE\n", target)
			os.Exit(2)
		}
		list, err := packages.Load(&packages.Config{
			Mode:  packages.NeedName | packages.NeedFiles | packages.NeedImports | packages.NeedDeps | packages.NeedTypes | packages.NeedSyntax | packages.NeedTypesSizes | packages.NeedModule,
			Env:   append(os.Environ(), "GOOS="+system, "GOARCH="+arch, "GOARM=7", "CGO_ENABLED=0"),
			Tests: true,
		}, "./...")
		if err != nil || len(list) == 0 {
			fmt.Fprintf(os.Stderr, "crosscheck %s: %d packages, %v\n", target, len(list), err)
			os.Exit(1)
		}
		bad += packages.PrintErrors(list)
	}
	if bad > 0 {
		os.Exit(1)
	}
}
