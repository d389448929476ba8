package guide

import (
	"fmt"
	"io"
	"strings"

	"yardproof/patterns"
)

// quoted writes a word for a shell between single quotes.
func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

// WriteZsh writes the completion for zsh.
func WriteZsh(w io.Writer, commands []Command, topics []string) {
	// In a description of _arguments and _describe a colon and brackets are marks.
	plain := strings.NewReplacer(":", `\:`, "[", `\[`, "]", `\]`)
	fmt.Fprint(w, "#compdef yardproof\n_yardproof_ask() {\n\tlocal -a found=(${(f)\"$(yardproof completion $1 ${words[2,-1]} 2>/dev/null)\"})\n\tcompadd -a found\n}\n")
	fmt.Fprint(w, "_yardproof() {\n\tif ((CURRENT == 2)); then\n\t\tlocal -a commands=(\n")
	fmt.Fprintf(w, "\t\t\t%s\n", quoted("help:"+helpDoes))
	for _, c := range commands {
		fmt.Fprintf(w, "\t\t\t%s\n", quoted(c.Name+":"+plain.Replace(c.Does)))
	}
	fmt.Fprint(w, "\t\t)\n\t\t_describe command commands\n\t\treturn\n\tfi\n\tlocal command=$words[2]\n\tshift words\n\t((CURRENT--))\n\tcase $command in\n")
	fmt.Fprintf(w, "\thelp)\n\t\tcompadd %s %s\n\t\t;;\n", names(commands), strings.Join(topics, " "))
	for _, c := range commands {
		fmt.Fprintf(w, "\t%s)\n\t\t_arguments '--help[show the flags]'", c.Name)
		for _, f := range c.flags() {
			name, usage := valueName(f)
			spec := fmt.Sprintf("--%s[%s]", f.Name, plain.Replace(usage))
			if name != "" {
				spec += ":" + plain.Replace(name) + ":"
				switch o := offers(f); o {
				case Files:
					spec += "_files"
				case Patterns:
					spec += "(" + strings.Join(patterns.Names(), " ") + ")"
				case Strings, Controllers, Interfaces:
					spec += "{_yardproof_ask " + ask[o] + "}"
				}
			}
			if many(f) {
				spec = "*" + spec
			}
			fmt.Fprintf(w, " \\\n\t\t\t%s", quoted(spec))
		}
		if c.takesPlan() {
			fmt.Fprintf(w, " \\\n\t\t\t'1:plan:_files'")
		}
		fmt.Fprint(w, "\n\t\t;;\n")
	}
	fmt.Fprint(w, "\tesac\n}\n_yardproof \"$@\"\n")
}
