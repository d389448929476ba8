package guide

import (
	"fmt"
	"io"
	"strings"

	"yardproof/patterns"
)

// WriteFish writes the completion for fish.
func WriteFish(w io.Writer, commands []Command, topics []string) {
	fmt.Fprint(w, "# fish completion for yardproof\ncomplete -c yardproof -f\n")
	fmt.Fprintf(w, "complete -c yardproof -n __fish_use_subcommand -a help -d %s\n", fishQuoted(helpDoes))
	fmt.Fprintf(w, "complete -c yardproof -n '__fish_seen_subcommand_from help' -a '%s %s'\n", names(commands), strings.Join(topics, " "))
	for _, c := range commands {
		fmt.Fprintf(w, "complete -c yardproof -n __fish_use_subcommand -a %s -d %s\n", c.Name, fishQuoted(c.Does))
		seen := fmt.Sprintf("-n '__fish_seen_subcommand_from %s'", c.Name)
		for _, f := range c.flags() {
			_, usage := valueName(f)
			fmt.Fprintf(w, "complete -c yardproof %s -l %s -d %s", seen, f.Name, fishQuoted(usage))
			if takesValue(f) {
				switch o := offers(f); o {
				case Files:
					fmt.Fprint(w, " -r -F")
				case Patterns:
					fmt.Fprintf(w, " -x -a '%s'", strings.Join(patterns.Names(), " "))
				case Strings, Controllers, Interfaces:
					fmt.Fprintf(w, " -x -a '(yardproof completion %s (commandline -opc)[3..-1] 2>/dev/null)'", ask[o])
				default:
					fmt.Fprint(w, " -x")
				}
			}
			fmt.Fprintln(w)
		}
		if c.takesPlan() {
			fmt.Fprintf(w, "complete -c yardproof %s -F\n", seen)
		}
	}
}

// fishQuoted quotes for fish, which knows two escapes between single quotes.
func fishQuoted(s string) string {
	return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(s) + "'"
}
