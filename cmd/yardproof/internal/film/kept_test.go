package film

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"
)

// Places stay as the last film has them; what it does not show stays as an earlier one
// had it, since large yards are filmed in parts. Pictures are kept if they are asked for,
// and go with the last film that needs them.
func TestKeep(t *testing.T) {
	dir := t.TempDir()
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, image.NewYCbCr(image.Rect(0, 0, 64, 32), image.YCbCrSubsampleRatio420), nil); err != nil {
		t.Fatal(err)
	}
	filmed := func(verdicts ...[3]Verdict) *Result {
		r := seenOf(verdicts...)
		r.stills = []still{{picture.Bytes(), image.Pt(64, 32)}}
		return r
	}
	if r, err := Kept(dir); r != nil || err != nil {
		t.Fatalf("of nothing %+v and %v are kept", r, err)
	}
	seen, hidden := [3]Verdict{Good, Good, Stuck}, [3]Verdict{NotSeen, NotSeen, NotSeen}
	west, east, again := filmed(seen, hidden), filmed(hidden, seen), filmed(seen, seen)
	pictures := func() int {
		all, err := filepath.Glob(filepath.Join(dir, keptPictures))
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	for _, step := range []struct {
		film                *Result
		called              string
		picture             bool
		films, placed, left int
	}{
		{west, "film of the west", true, 1, 3, 1},
		{east, "film of the east", false, 2, 6, 1},
		{again, "film of all", false, 1, 6, 0},
	} {
		if err := step.film.Keep(dir, step.called, step.picture); err != nil {
			t.Fatal(err)
		}
		r, err := Kept(dir)
		if err != nil {
			t.Fatal(err)
		}
		placed := 0
		for _, p := range r.Pixels {
			if p.placed() {
				placed++
			}
		}
		if len(r.Films) != step.films || placed != step.placed || pictures() != step.left || r.Films[0].Called != step.called || step.film.Films[0].Called != "" {
			t.Errorf("%s: %+v, %d pixels with places, %d pictures", step.called, r.Films, placed, pictures())
		}
		for i, f := range r.Films {
			if m, err := r.Still(i, "a"); err != nil || m.Bounds().Dx() != map[bool]int{true: 64, false: f.Width}[f.Picture != ""] {
				t.Errorf("%s, picture %d: %v", step.called, i, err)
			}
		}
	}
	for _, spoilt := range []string{"", "{", `{"films": [], "pixels": [{"string": "a", "pixel": 1, "x": 1}]}`} {
		if err := os.WriteFile(filepath.Join(dir, KeptName), []byte(spoilt), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Kept(dir); err == nil {
			t.Errorf("%q is taken", spoilt)
		}
	}
	if err := again.Keep(dir, "film after that", false); err != nil {
		t.Error(err)
	}
}
