package film

import (
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
)

// Filmed from near, a light is large and has more than one top: it is one pixel all the
// same, and no copies are seen.
func TestFromNear(t *testing.T) {
	t.Parallel()
	scene := render.Small()
	scene.Strings, scene.Pixels, scene.Pitch, scene.Blur, scene.Noise = 4, 9, 38, 7, .02
	_, plan, frames, err := render.Shoot(scene)
	if err != nil {
		t.Fatal(err)
	}
	r, err := New(plan, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		if err := r.Add(f.At, f.JPEG); err != nil {
			t.Fatal(err)
		}
	}
	res, err := r.Read(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range res.Strings {
		if len(s.Findings) > 0 || s.Seen != s.Pixels {
			t.Errorf("%+v", s)
		}
	}
}
