package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/film/footage"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/report"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

func filmCommand() command {
	return command{
		name: "film",
		args: "FILE|DIRECTORY [PLAN]",
		does: "Read a film of the yard that shows the pattern code: which pixels light, in which colours, at which address",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			f := filmFlags{set: fs}
			fs.StringVar(&f.format, "format", "text", "the `format`: text or json")
			fs.StringVar(&f.still, "still", "", "write a picture with every pixel marked into this `file`, .png or .jpg")
			fs.StringArrayVar(&f.also, "also", nil, "another `film` of the same yard, as from another side; repeat the flag for more")
			fs.StringVar(&f.places, "places", "", "the `file` of an earlier film's --format json: what hangs where. It tells swapped and reversed strings, and null pixels")
			fs.StringSliceVar(&f.controllers, "only-controllers", nil, "the film shows only the universes of these `controllers`, a,b, as they were sent")
			fs.BoolVar(&f.demo, "demo", false, "the built-in plan; PLAN is left out")
			fs.BoolVar(&f.learn, "learn", false, "print a draft of the plan from the light: of PLAN only the universes sent and the slots of a pixel are believed")
			fs.BoolVar(&f.record, "record", false, "put on record what was seen of each string")
			fs.BoolVar(&f.picture, "keep-picture", false, "with --record: keep the picture too, for the report and the page")
			fs.StringVar(&f.stage, "stage", string(record.Hung), "with --record: the `stage`: hung or opening")
			fs.StringVar(&f.state, "state", "", "with --record: "+stateUsage)
			return f.run
		},
	}
}

// filmFlags are the flags of the film command.
type filmFlags struct {
	set *pflag.FlagSet

	format, still, places, stage, state string
	also, controllers                   []string
	demo, record, learn, picture        bool
}

func (f *filmFlags) check(args []string) error {
	given := len(args)
	switch {
	case f.format != "text" && f.format != "json":
		return cli.Usagef("--format %q is not text or json", f.format)
	case !f.record && (f.set.Changed("stage") || f.set.Changed("state") || f.picture):
		return cli.Usagef("--stage, --state and --keep-picture are for --record")
	case f.learn && (f.record || f.still != "" || f.places != "" || len(f.also) > 0 || f.set.Changed("format")):
		return cli.Usagef("--learn prints a plan from one film: leave --format, --still, --also, --places and --record out")
	case f.stage != string(record.Hung) && f.stage != string(record.Opening):
		return cli.Usagef("--stage %q is not hung or opening", f.stage)
	case f.still != "" && !slices.Contains(pictureEnds(), pictureEnd(f.still)):
		return cli.Usagef("--still %s: its name must end in .png or .jpg", f.still)
	case given == 0:
		return cli.Usagef("name a film, or a directory of JPEG frames with times.txt")
	case given > 2, f.demo && given > 1:
		return cli.Usagef("unexpected argument %q", args[given-1])
	case given == 1 && !f.demo:
		return cli.Hint(cli.Usagef("the film needs the plan that was sent"), "write yardproof film %s PLAN", args[0])
	}
	return nil
}

func (f *filmFlags) run(ctx context.Context, std stdio, args []string) error {
	if err := f.check(args); err != nil {
		return err
	}
	c, err := demoOr(f.demo, args[1:])
	if err != nil {
		return err
	}
	if c = c.Part(f.controllers); c.Errors() > 0 {
		return verdict(std.err, c)
	}
	if f.learn {
		return learnPlan(ctx, std, args[0], c.Plan)
	}
	var layout film.Layout
	if f.places != "" {
		text, err := os.ReadFile(f.places)
		if err == nil {
			layout, err = film.ParseLayout(text)
		}
		if err != nil {
			return fmt.Errorf("--places %s: %w", f.places, err)
		}
	}
	var results []*film.Result
	for _, path := range append(args[:1:1], f.also...) {
		r, err := readFilm(ctx, std.err, path, c.Plan, layout)
		if err != nil {
			return err
		}
		results = append(results, r)
	}
	r := film.Merge(results...)
	if err := f.print(std.out, r); err != nil {
		return err
	}
	if f.still != "" {
		if err := writeStill(f.still, r); err != nil {
			return err
		}
	}
	if f.record {
		if err := f.keep(std.err, r, args[0], c.Plan); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(r.Summaries(), film.Summary.Wrong) {
		return cli.ErrFound
	}
	return nil
}

// takeFilm takes a film's frames, and says how many where a person looks.
func takeFilm(ctx context.Context, talk io.Writer, path string, plan *config.Plan, layout film.Layout) (*film.Reader, error) {
	r, err := film.New(plan, layout)
	if err != nil {
		return nil, err
	}
	if err := footage.Each(ctx, path, r.Add); err != nil {
		return nil, err
	}
	fmt.Fprintf(talk, "%s: reading %s\n", path, textout.Count(r.Frames(), "frame"))
	return r, nil
}

// learnPlan prints a draft of the plan.
func learnPlan(ctx context.Context, std stdio, path string, plan *config.Plan) error {
	r, err := takeFilm(ctx, std.err, path, plan, nil)
	if err != nil {
		return err
	}
	d, err := r.Learn(ctx, nil)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if d.Strings() == 0 {
		return fmt.Errorf("%s shows too few lights beside each other for a draft; film from nearer, with every universe sent", path)
	}
	return d.Write(std.out)
}

// readFilm reads one film.
func readFilm(ctx context.Context, talk io.Writer, path string, plan *config.Plan, layout film.Layout) (*film.Result, error) {
	r, err := takeFilm(ctx, talk, path, plan, layout)
	if err != nil {
		return nil, err
	}
	res, err := r.Read(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return res, nil
}

func (f *filmFlags) print(w io.Writer, r *film.Result) error {
	if f.format == "json" {
		out := json.NewEncoder(w)
		out.SetIndent("", " ")
		return out.Encode(r)
	}
	return r.Text(w)
}

// pictureEnds are how the names of pictures end.
func pictureEnds() []string { return []string{".png", ".jpg", ".jpeg"} }

func pictureEnd(name string) string { return strings.ToLower(filepath.Ext(name)) }

// writeStill writes the picture of the first film.
func writeStill(name string, r *film.Result) error {
	m, err := r.Still(0, "")
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if pictureEnd(name) == ".png" {
		err = png.Encode(&b, m)
	} else {
		err = jpeg.Encode(&b, m, &jpeg.Options{Quality: 88})
	}
	if err == nil {
		err = durable.Replace(name, b.Bytes(), 0o644)
	}
	if err != nil {
		return fmt.Errorf("the picture: %w", err)
	}
	return nil
}

// keep puts on record what was seen.
func (f *filmFlags) keep(talk io.Writer, r *film.Result, path string, plan *config.Plan) error {
	dir, err := state.Place(f.state)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	log, notes, err := record.Open(dir)
	if errors.Is(err, record.ErrInUse) {
		return cli.Hint(err, "hand the film to that one's page, which records it, or record it when that one has ended")
	}
	if err != nil {
		return err
	}
	defer log.Close()
	for _, n := range notes {
		fmt.Fprintln(talk, n)
	}
	called := "film " + filepath.Base(path)
	if info, err := os.Stat(path); err == nil {
		called += " of " + info.ModTime().Format(report.Minutes)
	}
	count := map[record.Verdict]int{}
	for _, l := range r.Proofs(record.Stage(f.stage), called) {
		l.Label = cmp.Or(log.Spare(l.String), plan.Find(l.String).Label)
		if _, err := log.Append(l); err != nil {
			return err
		}
		count[l.Verdict]++
	}
	if err := r.Keep(dir, called, f.picture); err != nil {
		return err
	}
	fmt.Fprintf(talk, "on record: %d good, %d with a fault, %s\n", count[record.Good], count[record.Fault],
		textout.Count(count[""], "note of a string that was not seen as a whole", "notes of strings that were not seen as a whole"))
	return nil
}
