package main

import (
	"bufio"
	"fmt"
	"io"

	"yardproof/cmd/yardproof/internal/guide"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/web"
	"yardproof/config"
)

// topics are what yardproof help explains beside the commands.
func topics() []topic {
	return []topic{
		{"patterns", guide.WritePatterns},
		{"plan", guide.WritePlan},
		{"metrics", metrics.WriteReference},
		{"api", web.WriteReference},
	}
}

// A topic is a part of the reference, made from the code itself.
type topic struct {
	name  string
	write func(io.Writer)
}

// help answers yardproof help [COMMAND or TOPIC]; a word may be both.
func help(std stdio, args []string) int {
	if len(args) > 1 {
		fmt.Fprintf(std.err, "yardproof help: %q is an unexpected argument; ask for one command or topic\n", args[1])
		return exitUsage
	}
	write := writeUsage
	if len(args) == 1 {
		var parts []func(io.Writer)
		var words []string
		for _, c := range described() {
			if words = append(words, c.Name); c.Name == args[0] {
				parts = append(parts, func(w io.Writer) { guide.WriteHelp(w, c) })
			}
		}
		for _, t := range topics() {
			if words = append(words, t.name); t.name == args[0] {
				parts = append(parts, t.write)
			}
		}
		if len(parts) == 0 {
			hint := "yardproof --help lists the commands and topics"
			if near := config.Nearest(args[0], words); near != "" {
				hint = fmt.Sprintf("did you mean %q?", near)
			}
			fmt.Fprintf(std.err, "yardproof help: %q is neither a command nor a topic; %s\n", args[0], hint)
			return exitUsage
		}
		write = func(w io.Writer) {
			for i, part := range parts {
				if i > 0 {
					fmt.Fprintln(w)
				}
				part(w)
			}
		}
	}
	if err := printed(std.out, write); err != nil {
		fmt.Fprintf(std.err, "yardproof: %v\n", err)
		return exitFound
	}
	return exitFine
}

func writeUsage(w io.Writer) {
	var names []string
	for _, t := range topics() {
		names = append(names, t.name)
	}
	guide.WriteUsage(w, described(), names)
}

// printed writes by write, and tells of the first write that failed.
func printed(w io.Writer, write func(io.Writer)) error {
	out := bufio.NewWriter(w)
	write(out)
	return out.Flush()
}
