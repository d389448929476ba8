// Yardproof plans, proves and watches outdoor displays of addressable pixels
// over E1.31. This file lists the commands; each has a file of its own.
package main

import (
	"os"

	"yardproof/cmd/yardproof/internal/guide"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/rehearsal"
	"yardproof/cmd/yardproof/internal/web"
)

// version is set by the package build (-ldflags -X main.version=...).
var version = "devel"

func main() { os.Exit(yardproof().Main()) }

// yardproof is the program. New commands go here and nowhere else.
func yardproof() program.Program {
	return program.Program{
		Version: version,
		Commands: []program.Command{
			planCommand(),
			benchCommand(),
			runCommand(),
			rehearseCommand(),
			burnInCommand(),
			resumeCommand(),
			lookedCommand(),
			listenCommand(),
			diagnoseCommand(),
			filmCommand(),
			reportCommand(),
			linkCommand(),
			phonesCommand(),
		},
		Topics: []guide.Topic{
			{Name: "patterns", Write: guide.WritePatterns},
			{Name: "plan", Write: guide.WritePlan},
			{Name: "power", Write: guide.WritePower},
			{Name: "film", Write: guide.WriteFilm},
			{Name: "evidence", Write: guide.WriteEvidence},
			{Name: "faults", Write: rehearsal.WriteFaults},
			{Name: "metrics", Write: metrics.WriteReference},
			{Name: "api", Write: web.WriteReference},
		},
	}
}
