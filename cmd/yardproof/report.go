package main

import (
	"bytes"
	"context"
	"fmt"
	"image/jpeg"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/report"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
)

func reportCommand() command {
	return command{
		name: "report",
		args: "[PLAN]",
		does: "Print the proof record as a sheet; with a plan, also the strings that have no proof yet",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			stateDir := fs.String("state", "", "the state `directory` that holds the record (default: as for run)")
			format := fs.String("format", "text", "the `format`: text, html (for paper) or csv (a row for each line of the record)")
			night := fs.Bool("opening", false, "go or no-go: the sheet for opening night, of a plan; as text or html")
			iface := fs.String("interface", "", "with --opening: listen three seconds on this `interface` for who sends; nothing is sent")
			since := fs.String("since", "", "leave out what was recorded before this `date`: 2026-11-01, or \"2026-11-01 16:00\"")
			return func(ctx context.Context, std stdio, args []string) error {
				if *night {
					return runOpening(ctx, std, *stateDir, *format, *since, *iface, args)
				}
				if *iface != "" {
					return cli.Usagef("--interface is for --opening")
				}
				return runReport(std, *stateDir, *format, *since, args)
			}
		},
	}
}

func runReport(std stdio, stateDir, format, since string, args []string) error {
	if !slices.Contains([]string{"text", "html", "csv"}, format) {
		return cli.Usagef("--format %q is not text, html or csv", format)
	}
	if len(args) > 1 {
		return cli.Usagef("unexpected argument %q", args[1])
	}
	var from time.Time
	if since != "" {
		var err error
		if from, err = time.ParseInLocation(textout.Minutes, since, time.Local); err != nil {
			from, err = time.ParseInLocation(time.DateOnly, since, time.Local)
		}
		if err != nil {
			return cli.Usagef("--since %q is no date; write it as 2026-11-01, or with the time of day as \"2026-11-01 16:00\"", since)
		}
	}
	dir, err := state.ExistingPlace(stateDir)
	if err != nil {
		return err
	}
	source, err := record.OpenReader(dir)
	if err != nil {
		return err
	}
	defer source.Close()
	var c planfile.Checked
	if len(args) == 1 {
		if c, err = planfile.Read(args[0]); err != nil {
			return err
		}
		sayWeak(std.err, c)
	}
	r, err := report.New(source, from, c.Plan, c.Protection, time.Now(), time.Local)
	if err != nil {
		return err
	}
	if r.Places, err = placesOf(dir); err != nil {
		r.Notes = append(r.Notes, err.Error())
	}
	for _, n := range r.Notes {
		fmt.Fprintln(std.err, n)
	}
	switch {
	case r.Recorded == 0:
		fmt.Fprintf(std.err, "nothing is recorded in %s yet\n", dir)
	case r.Listed() == 0:
		fmt.Fprintf(std.err, "nothing is recorded in %s since %s\n", dir, since)
	}
	switch format {
	case "csv":
		return r.CSV(std.out)
	case "html":
		return r.HTML(std.out)
	}
	return r.Text(std.out)
}

// placesOf draws where films on record saw pixels.
func placesOf(dir string) ([]report.Places, error) {
	kept, err := film.Kept(dir)
	if err != nil || kept == nil {
		return nil, err
	}
	var all []report.Places
	for i, f := range kept.Films {
		m, err := kept.Still(i, "")
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 85}); err != nil {
			return nil, err
		}
		all = append(all, report.Places{Called: record.Shown(f.Called), Kept: filepath.Join(dir, film.KeptName), JPEG: b.Bytes()})
	}
	return all, nil
}
