package guide

import (
	"fmt"
	"io"
	"strings"
)

// WriteUsage writes the general help: a line for each command.
func WriteUsage(w io.Writer, commands []Command, topics []string) {
	fmt.Fprint(w, "usage: yardproof COMMAND [flags]\n\n")
	for _, c := range commands {
		fmt.Fprintf(w, "  %-10s  %s\n", c.Name, c.Does)
	}
	fmt.Fprintf(w, "\nyardproof help COMMAND shows the flags of a command.\nyardproof help TOPIC explains: %s.\n", strings.Join(topics, ", "))
}

// WriteHelp writes the help of one command.
func WriteHelp(w io.Writer, c Command) {
	fmt.Fprintf(w, "usage: %s\n\n%s.\n", strings.TrimRight("yardproof "+c.Name+" [flags] "+c.Args, " "), c.Does)
	flags := c.flags()
	if len(flags) == 0 {
		return
	}
	fmt.Fprintln(w)
	for _, f := range flags {
		name, usage := valueName(f)
		left := strings.TrimRight("--"+f.Name+" "+name, " ")
		if f.Shorthand != "" {
			left = "-" + f.Shorthand + ", " + left
		}
		if d := defaultText(f.DefValue); d != "" && !strings.Contains(usage, "default") {
			usage += " (default: " + d + ")"
		}
		writeEntry(w, left, usage)
	}
}

// defaultText is a default worth showing, else "".
func defaultText(value string) string {
	switch value {
	case "", "0", "0s", "false", "[]":
		return ""
	}
	return value
}

// Columns of the help text.
const (
	column = 26
	width  = 100
)

// writeEntry writes a term and, beside it, its explanation, wrapped.
func writeEntry(w io.Writer, term, text string) {
	line := "  " + term
	if len(line) >= column-1 {
		fmt.Fprintln(w, line)
		line = ""
	}
	line += strings.Repeat(" ", column-len(line))
	for first := true; text != ""; first = false {
		part := text
		if len(part) > width-column {
			cut := strings.LastIndexByte(part[:width-column+1], ' ')
			if cut < 0 {
				cut = width - column
			}
			part = part[:cut]
		}
		text = strings.TrimLeft(text[len(part):], " ")
		if !first {
			line = strings.Repeat(" ", column)
		}
		fmt.Fprintln(w, line+part)
	}
}
