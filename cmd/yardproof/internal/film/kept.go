package film

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"yardproof/cmd/yardproof/internal/durable"
)

// What is kept of films that are on record: where each pixel was seen, and their pictures
// where somebody asked for it.
const (
	KeptName     = "places.json" // of the file that Keep writes
	keptPictures = "places-*.jpg"
)

// Keep writes into a directory where each pixel was seen, and the pictures if they are
// wanted. Called is what to call these films. Strings that they do not show stay where an
// earlier one has them, since large yards are filmed in parts.
func (r *Result) Keep(dir, called string, pictures bool) error {
	out := *r
	out.Films, out.Strings, out.Pixels = slices.Clone(r.Films), slices.Clone(r.Strings), slices.Clone(r.Pixels)
	name := rand.Text()[:8]
	for i := range out.Films {
		f := &out.Films[i]
		if f.Called, f.Picture = called, ""; !pictures {
			continue
		}
		f.Picture = fmt.Sprintf("places-%s-%d.jpg", name, i+1)
		if err := durable.Replace(filepath.Join(dir, f.Picture), r.stills[i].jpeg, 0o600); err != nil {
			return fmt.Errorf("keeping the picture: %w", err)
		}
	}
	if old, err := Kept(dir); err == nil && old != nil && old.Plan == out.Plan { // a spoilt one is replaced
		out.fill(old)
	}
	text, err := json.Marshal(out)
	if err == nil {
		err = durable.Replace(filepath.Join(dir, KeptName), text, 0o600)
	}
	if err != nil {
		return fmt.Errorf("keeping where each pixel is: %w", err)
	}
	there, err := filepath.Glob(filepath.Join(dir, keptPictures))
	for _, path := range there {
		if !slices.ContainsFunc(out.Films, func(f Film) bool { return f.Picture == filepath.Base(path) }) {
			err = errors.Join(err, os.Remove(path))
		}
	}
	return err
}

// fill takes strings of which nothing was seen from an earlier result.
func (r *Result) fill(old *Result) {
	unseen, was := map[string]bool{}, map[string]String{}
	for _, s := range old.Strings {
		was[s.Name] = s
	}
	for i, s := range r.Strings {
		if o := was[s.Name]; s.Seen == 0 && o.Seen > 0 && o.Pixels == s.Pixels {
			unseen[s.Name], r.Strings[i] = true, o
		}
	}
	type key struct {
		name  string
		pixel int
	}
	places := map[key]Pixel{}
	for _, p := range old.Pixels {
		places[key{p.String, p.Pixel}] = p
	}
	moved := map[int]int{} // of the old films, to where they are now
	for i, p := range r.Pixels {
		o, known := places[key{p.String, p.Pixel}]
		if !unseen[p.String] || !known {
			continue
		}
		if _, ok := moved[o.Film]; !ok && o.placed() {
			moved[o.Film] = len(r.Films)
			r.Films = append(r.Films, old.Films[o.Film])
		}
		o.Film = moved[o.Film]
		r.Pixels[i] = o
	}
}

// placed reports whether it is known where a pixel is.
func (p Pixel) placed() bool { return p.X != 0 || p.Y != 0 }

// Kept returns what Keep wrote into a directory; nil, and no error, when it wrote nothing.
func Kept(dir string) (*Result, error) {
	path := filepath.Join(dir, KeptName)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	r := &Result{}
	if err == nil {
		err = json.Unmarshal(text, r)
	}
	if err == nil && slices.ContainsFunc(r.Pixels, func(p Pixel) bool { return p.Film < 0 || p.placed() && p.Film >= len(r.Films) }) {
		err = errors.New("a pixel is in a film that it does not name")
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read; record another film: %w", path, err)
	}
	for _, f := range r.Films {
		s := still{size: f.size()}
		if ok, _ := filepath.Match(keptPictures, f.Picture); ok {
			s.jpeg, _ = os.ReadFile(filepath.Join(dir, f.Picture)) // without it the places are drawn on black
		}
		r.stills = append(r.stills, s)
	}
	return r, nil
}
