package rehearsal

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/film/footage"
	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/config/budget"
)

func filmedPlan(t *testing.T, text string) *config.Plan {
	t.Helper()
	plan, problems := config.Load("quay.yaml", strings.NewReader("controllers: [{name: box}]\nstrings:\n"+text))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return plan
}

// A film of the rehearsed yard, read as any film is, shows what was planted in it.
func TestFilmed(t *testing.T) {
	t.Parallel()
	plan := filmedPlan(t, "  - {name: rail, controller: box, universe: 1, pixels: 30}\n  - {name: roof, controller: box, universe: 2, pixels: 40, order: GRBW}\n")
	r, err := New(Config{Plan: plan, Budget: budget.New(plan), Seed: 4, Faults: []yard.Fault{
		{Kind: yard.DeadPixel, String: "rail", Place: 9}, {Kind: yard.WrongStart, String: "roof", Severity: 4}}})
	if err != nil {
		t.Fatal(err)
	}
	dir, scene := filepath.Join(t.TempDir(), "shot"), render.Small()
	frames, err := r.film(t.Context(), dir, scene)
	if err != nil || frames < 100 {
		t.Fatal(frames, err)
	}
	reader, err := film.New(plan, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := footage.Each(t.Context(), dir, reader.Add); err != nil {
		t.Fatal(err)
	}
	res, err := reader.Read(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	rail, roof := res.Strings[0], res.Strings[1]
	if len(rail.Findings) > 0 || rail.Seen != 29 || len(roof.Findings) != 1 || roof.Findings[0].Kind != film.KindStart || roof.Findings[0].Count != 4 {
		t.Errorf("the film shows %+v and %+v", rail, roof)
	}
	for _, p := range res.Pixels {
		if p.String == "rail" && (p.Verdict == film.NotSeen) != (p.Pixel == 9) {
			t.Errorf("%+v", p)
		}
	}
	if _, err := r.film(t.Context(), dir, scene); err == nil || !strings.HasSuffix(err.Error(), " is there already: name a new directory for the film") {
		t.Errorf("into a directory that is there: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := r.film(ctx, dir+"2", scene); !errors.Is(err, context.Canceled) {
		t.Errorf("after it was stopped: %v", err)
	}
}

// Every pixel of a plan hangs in the picture, apart from all others; one that is too large
// for a picture is refused.
func TestLay(t *testing.T) {
	t.Parallel()
	demo, problems := config.Load("demo.yaml", strings.NewReader(config.DemoText()))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	long := filmedPlan(t, "  - {name: rail, controller: box, universe: 1, pixels: 2000}\n")
	for _, plan := range []*config.Plan{demo, long} {
		scene := leaning(1)
		y, err := render.Lay(plan, scene)
		if err != nil {
			t.Fatal(err)
		}
		type cell struct{ x, y int }
		taken := map[cell]bool{}
		for i, s := range y.Strings {
			if s.Name != plan.Strings[i].Name || len(s.Pixels) != plan.Strings[i].Pixels {
				t.Errorf("%s has %d pixels", s.Name, len(s.Pixels))
			}
			for k, p := range s.Pixels {
				c := cell{int(p.X / 4), int(p.Y / 4)}
				if taken[c] || p.X < 20 || p.Y < 20 || p.X > float64(scene.Width-20) || p.Y > float64(scene.Height)*.85 {
					t.Errorf("%s, pixel %d is at %.0f, %.0f, and something else is: %v", s.Name, k+1, p.X, p.Y, taken[c])
				}
				taken[c] = true
			}
		}
	}
	huge := filmedPlan(t, "  - {name: rail, controller: box, universe: 1, pixels: 20000}\n")
	if _, err := render.Lay(huge, leaning(1)); err == nil || !strings.Contains(err.Error(), "too large for one film of 1280 by 720: film in parts, with --only-controllers") {
		t.Errorf("of a plan of 20,000 pixels: %v", err)
	}
}
