package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"yardproof/cmd/yardproof/internal/film/render"
)

// leaning is how a film of the rehearsed yard is taken: by a phone that leans on something.
func leaning(seed uint64) render.Scene {
	return render.Scene{Seed: seed, Width: 1280, Height: 720, Core: .6, Blur: 1.1, Ambient: .01, Noise: .002, Shake: .7, Seconds: 20, Rate: 13, Rolling: .016}
}

// Film films the yard while it shows the pattern code, faults included, into a new
// directory: frames as JPEG, and the times at which they are shown. It returns how many
// there are.
func (r *Rehearsal) Film(ctx context.Context, dir string) (int, error) {
	return r.film(ctx, dir, leaning(r.cfg.Seed))
}

func (r *Rehearsal) film(ctx context.Context, dir string, scene render.Scene) (int, error) {
	y, err := render.Lay(r.cfg.Plan, scene)
	if err != nil {
		return 0, err
	}
	if err := os.Mkdir(dir, 0o755); errors.Is(err, fs.ErrExist) {
		return 0, fmt.Errorf("%s is there already: name a new directory for the film", dir)
	} else if err != nil {
		return 0, fmt.Errorf("the film: %w", err)
	}
	type shot struct {
		frames []render.Frame
		err    error
	}
	done := make(chan shot, 1)
	go func() { // rendering knows no ctx, and takes half a minute
		var s shot
		show, err := render.Send(r.cfg.Plan)
		if s.err = errors.Join(err, ctx.Err()); s.err == nil {
			s.err = y.Rehearse(r.cfg.Plan, show, append(r.game.left(), r.cfg.Faults...)...)
		}
		if s.err == nil && ctx.Err() == nil {
			s.frames, s.err = y.Film(show)
		}
		done <- s
	}()
	select {
	case s := <-done:
		if s.err != nil {
			return 0, s.err
		}
		return len(s.frames), render.Write(dir, s.frames)
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}
