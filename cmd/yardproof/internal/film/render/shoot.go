package render

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"yardproof/config"
)

// Shoot makes a scene up, sends its plan the code, and films it.
func Shoot(s Scene) (*Yard, *config.Plan, []Frame, error) {
	y := New(s)
	plan, err := Plan(y.Plan)
	if err != nil {
		return nil, nil, nil, err
	}
	show, err := Send(plan)
	if err != nil {
		return nil, nil, nil, err
	}
	frames, err := y.Film(show)
	return y, plan, frames, err
}

// Small is a film that is rendered and read fast.
func Small() Scene {
	return Scene{Width: 384, Height: 216, Strings: 4, Pixels: 24, Pitch: 12, Seed: 20261126, Core: .6, Blur: 1.1,
		Ambient: .01, Noise: .002, Shake: .7, Seconds: 15.8, Rate: 8.6, Rolling: .016}
}

// Write puts frames into a directory, with their times.
func Write(dir string, frames []Frame) error {
	var times strings.Builder
	for i, f := range frames {
		fmt.Fprintf(&times, "%.3f\n", f.At.Seconds())
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%04d.jpg", i)), f.JPEG, 0o600); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(dir, "times.txt"), []byte(times.String()), 0o600)
}
