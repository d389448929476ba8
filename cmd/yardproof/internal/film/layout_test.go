package film

import (
	"math"
	"slices"
	"testing"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/patterns/camera"
)

// Strings that begin elsewhere agree nearly with a drawing that is bent for them: it lies
// where the strings that are right have it, though half of them are not.
func TestLayoutNotBent(t *testing.T) {
	t.Parallel()
	for _, seed := range []uint64{10458, 10519, 10598, 10671} {
		scene := street("drawn")
		scene.Seed = seed
		film := render.New(scene)
		plan, err := render.Plan(film.Plan)
		if err != nil {
			t.Fatal(err)
		}
		y, err := newYard(plan, drawing(film))
		if err != nil {
			t.Fatal(err)
		}
		got := &camera.Reading{}
		got.Size.X, got.Size.Y = scene.Width, scene.Height
		for _, s := range film.Strings {
			for _, p := range s.Pixels {
				if len(p.Hears) > 0 && !p.Dead && !p.Hot {
					got.Lights = append(got.Lights, camera.Light{X: p.X, Y: p.Y, First: slices.Min(p.Hears)})
				}
			}
		}
		to, ok := (&sight{yard: y, got: got}).fitLayout()
		if !ok {
			t.Fatalf("seed %d: the drawing does not fit", seed)
		}
		off := 0.0
		for _, s := range film.Strings {
			for k, p := range s.Pixels {
				x, y := to(s.Drawn[k][0], s.Drawn[k][1])
				off = max(off, math.Hypot(x-p.X, y-p.Y))
			}
		}
		if off > .75*scene.Pitch {
			t.Errorf("seed %d: the drawing is up to %.1f px off", seed, off)
		}
	}
}
