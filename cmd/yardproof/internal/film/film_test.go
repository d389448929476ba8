package film

import (
	"bytes"
	"context"
	"image/jpeg"
	"testing"

	"yardproof/cmd/yardproof/internal/film/filmtest"
)

// read renders a scene and reads it, with the drawing as layout if asked.
func read(t testing.TB, scene filmtest.Scene, drawn bool) (*filmtest.Yard, *Result) {
	t.Helper()
	y := filmtest.New(scene)
	plan, err := filmtest.Plan(y.Plan)
	if err != nil {
		t.Fatal(err)
	}
	show, err := filmtest.Send(plan)
	if err != nil {
		t.Fatal(err)
	}
	frames, err := y.Film(show)
	if err != nil {
		t.Fatal(err)
	}
	var layout Layout
	if drawn {
		layout = Layout{}
		for _, s := range y.Strings {
			for k, p := range s.Drawn {
				layout[s.Name] = append(layout[s.Name], Spot{k + 1, p[0], p[1]})
			}
		}
	}
	r, err := New(plan, layout)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		if err := r.Add(f.At, f.JPEG); err != nil {
			t.Fatal(err)
		}
	}
	res, err := r.Read(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return y, res
}

func small() filmtest.Scene {
	return filmtest.Scene{Width: 480, Height: 270, Strings: 4, Pixels: 24, Pitch: 14, Seed: 20261126, Core: .6, Blur: 1.1,
		Ambient: .01, Noise: .002, Shake: .7, Seconds: 15.8, Rate: 9, Rolling: .016}
}

// A yard as planned: every pixel is read where it hangs, and nothing is accused.
func TestSoundYard(t *testing.T) {
	y, res := read(t, small(), false)
	for i, s := range res.Strings {
		if len(s.Findings) > 0 {
			t.Errorf("%s: %+v", s.Name, s.Findings)
		}
		if s.Seen < s.Pixels*98/100 || s.Pixels != len(y.Strings[i].Pixels) {
			t.Errorf("%s: %d of %d pixels are seen", s.Name, s.Seen, s.Pixels)
		}
	}
	var still bytes.Buffer
	if err := res.Still(&still, 0); err != nil {
		t.Fatal(err)
	}
	if m, err := jpeg.Decode(&still); err != nil || m.Bounds().Dx() != 480 {
		t.Errorf("the still is %v, %v", m.Bounds(), err)
	}
}
