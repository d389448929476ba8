package guide

import (
	"fmt"
	"io"
	"net"
	"os"
	"strings"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config"
)

// WriteWords writes, a line each, the names that a shell offers: of the plan
// among the words typed so far, else of the built-in plan; or the interfaces.
func WriteWords(w io.Writer, kind string, typed []string) {
	if kind == "interfaces" {
		all, _ := net.Interfaces() // none to offer is no error
		for _, i := range all {
			fmt.Fprintln(w, i.Name)
		}
		return
	}
	plan, _ := config.Demo()
	for _, word := range typed {
		if info, err := os.Stat(word); err != nil || !info.Mode().IsRegular() || strings.HasPrefix(word, "-") {
			continue
		}
		if c, err := planfile.Read(word); err == nil {
			plan = c.Plan
			break
		}
	}
	if kind == "controllers" {
		for _, c := range plan.Controllers {
			fmt.Fprintln(w, c.Name)
		}
		return
	}
	for _, s := range plan.Strings {
		fmt.Fprintln(w, s.Name)
	}
}
