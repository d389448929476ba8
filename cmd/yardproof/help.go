package main

import (
	"bufio"
	"fmt"
	"io"

	"yardproof/cmd/yardproof/internal/guide"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/rehearsal"
	"yardproof/cmd/yardproof/internal/web"
)

// topics are what yardproof help explains beside the commands.
func topics() []guide.Topic {
	return []guide.Topic{
		{Name: "patterns", Write: guide.WritePatterns},
		{Name: "plan", Write: guide.WritePlan},
		{Name: "power", Write: guide.WritePower},
		{Name: "evidence", Write: guide.WriteEvidence},
		{Name: "faults", Write: rehearsal.WriteFaults},
		{Name: "metrics", Write: metrics.WriteReference},
		{Name: "api", Write: web.WriteReference},
	}
}

// help answers yardproof help [COMMAND or TOPIC]; a word may be both.
func help(std stdio, args []string) int {
	if len(args) > 1 {
		fmt.Fprintf(std.err, "yardproof help: %q is an unexpected argument; ask for one command or topic\n", args[1])
		return exitUsage
	}
	write := writeUsage
	if len(args) == 1 {
		var err error
		if write, err = guide.Find(args[0], described(), topics()); err != nil {
			fmt.Fprintf(std.err, "yardproof help: %v\n", err)
			return exitUsage
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
		names = append(names, t.Name)
	}
	guide.WriteUsage(w, described(), names)
}

// printed writes by write, and tells of the first write that failed.
func printed(w io.Writer, write func(io.Writer)) error {
	out := bufio.NewWriter(w)
	write(out)
	return out.Flush()
}
