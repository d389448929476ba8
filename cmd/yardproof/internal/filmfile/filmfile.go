// Package filmfile reads films that are files against a plan, and files what they show: as
// a picture, and in the record. It refuses to know flags, and how a film is judged.
package filmfile

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/film/footage"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// Read reads films of one yard, joined; talk is told of each.
func Read(ctx context.Context, talk io.Writer, paths []string, plan *config.Plan, layout film.Layout) (*film.Result, error) {
	var results []*film.Result
	for _, path := range paths {
		r, err := take(ctx, talk, path, plan, layout)
		if err != nil {
			return nil, err
		}
		res, err := r.Read(ctx, nil)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		results = append(results, res)
	}
	return film.Merge(results...), nil
}

// Layout reads from a file where pixels hang; nil for "".
func Layout(path string) (film.Layout, error) {
	if path == "" {
		return nil, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	l, err := film.ParseLayout(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return l, nil
}

// Learn drafts a plan from one film; of plan only the universes and the slots of a pixel
// are believed.
func Learn(ctx context.Context, talk io.Writer, path string, plan *config.Plan) (*film.Draft, error) {
	r, err := take(ctx, talk, path, plan, nil)
	if err != nil {
		return nil, err
	}
	d, err := r.Learn(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if d.Strings() == 0 {
		return nil, fmt.Errorf("%s shows too few lights beside each other for a draft; film from nearer, with every universe sent", path)
	}
	return d, nil
}

// take takes a film's frames, and says how many where a person looks.
func take(ctx context.Context, talk io.Writer, path string, plan *config.Plan, layout film.Layout) (*film.Reader, error) {
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

// IsPicture reports whether WriteStill can write a file of this name.
func IsPicture(name string) bool {
	return slices.Contains([]string{".png", ".jpg", ".jpeg"}, pictureEnd(name))
}

func pictureEnd(name string) string { return strings.ToLower(filepath.Ext(name)) }

// WriteStill writes the marked picture of the first film.
func WriteStill(name string, r *film.Result) error {
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

// Record puts on record, in a state directory, what the film at a path shows, and where
// each pixel is; the picture too if it is wanted.
func Record(talk io.Writer, dir string, r *film.Result, stage record.Stage, path string, plan *config.Plan, picture bool) error {
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
		called += " of " + info.ModTime().Format(textout.Minutes)
	}
	count := map[record.Verdict]int{}
	for _, l := range r.Proofs(stage, called) {
		l.Label = cmp.Or(log.Spare(l.String), plan.Find(l.String).Label)
		if _, err := log.Append(l); err != nil {
			return err
		}
		count[l.Verdict]++
	}
	if err := r.Keep(dir, called, picture); err != nil {
		return err
	}
	fmt.Fprintf(talk, "on record: %d good, %d with a fault, %s\n", count[record.Good], count[record.Fault],
		textout.Count(count[""], "note of a string that was not seen as a whole", "notes of strings that were not seen as a whole"))
	return nil
}
