package film

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/film/render"
)

var (
	benchSeed   = flag.Uint64("film-seed", 1, "the first `seed` of the films, 100 apart from scene to scene: below 90000 some were looked at")
	benchFor    = flag.Duration("film-for", 0, "how long to go on filming; 0: to the end")
	benchFilms  = flag.Int("films", 3, "how many films of each scene")
	benchScenes = flag.String("scenes", "", "which scenes, by `names` a,b; none: all")
	benchKeep   = flag.String("keep-films", "", "the `directory` in which rendered films are kept")
	benchSay    = flag.Bool("say", false, "say what was missed")
)

// street is the ordinary scene, with everything that an evening has, at as many frames a
// second as the page takes.
func street(name string) render.Scene {
	return render.Scene{Name: name, Width: 960, Height: 540, Strings: 8, Pixels: 60, Pitch: 14, Core: .6, Blur: 1.1, Ambient: .01, Noise: .002,
		Shake: .7, Seconds: 16.5, Rate: 10, Lost: .02, Rolling: .016, Kilobit: 3000,
		Branches: true, Car: true, Lamp: true, Wet: true, Drift: true, StringFaults: true, Dead: .005, Dieless: .005, Hot: .005}
}

// scenes are those of which figures are given.
func scenes() []render.Scene {
	change := func(name string, do func(*render.Scene)) render.Scene {
		s := street(name)
		do(&s)
		return s
	}
	return []render.Scene{
		street("ordinary"),
		change("rgbw", func(s *render.Scene) { s.RGBW = 4 }),
		change("dusk", func(s *render.Scene) { s.Ambient = .05 }),
		change("dark", func(s *render.Scene) { s.Core, s.Noise = .12, .003 }),
		change("dense", func(s *render.Scene) { s.Pixels, s.Pitch, s.Blur = 150, 5, .9 }),
		change("bright", func(s *render.Scene) { s.Core = 6 }),
		change("720p", func(s *render.Scene) {
			s.Width, s.Height, s.Strings, s.Pixels, s.Pitch, s.Kilobit = 1280, 720, 12, 200, 6, 5000
		}),
		change("1080p", func(s *render.Scene) {
			s.Width, s.Height, s.Strings, s.Pixels, s.Pitch, s.Kilobit, s.Seconds = 1920, 1080, 20, 250, 5, 10000, 20
		}),
	}
}

// sweeps change one thing until reading breaks.
func sweeps() []render.Scene {
	var all []render.Scene
	vary := func(what string, values []float64, set func(*render.Scene, float64)) {
		for _, v := range values {
			s := street(fmt.Sprintf("%s %g", what, v))
			set(&s, v)
			all = append(all, s)
		}
	}
	vary("spacing", []float64{14, 7, 5, 4, 3.5, 3, 2.5}, func(s *render.Scene, v float64) { s.Pitch, s.Pixels = v, min(150, int(840/v)) })
	vary("noise", []float64{.001, .002, .004, .008, .016, .032}, func(s *render.Scene, v float64) { s.Core, s.Noise = .25, v })
	vary("shake", []float64{1, 2, 4, 8, 16, 32, 64}, func(s *render.Scene, v float64) { s.Shake = v })
	vary("rate", []float64{20, 13, 10, 9, 8.3, 7.5}, func(s *render.Scene, v float64) { s.Rate, s.Lost = v, 0 })
	return all
}

// BenchmarkFilm prints what films show, scene by scene. It needs ffmpeg.
func BenchmarkFilm(b *testing.B) { table(b, scenes()) }

// BenchmarkFilmBreaks prints what breaks first, step by step.
func BenchmarkFilmBreaks(b *testing.B) {
	for range b.N {
		for i, scene := range sweeps() {
			if what, _, _ := strings.Cut(scene.Name, " "); *benchScenes != "" && !slices.Contains(strings.Split(*benchScenes, ","), what) {
				continue
			}
			var sum bothWays
			for n := range *benchFilms {
				sum.film(b, scene, 100*i+n)
			}
			sum.print(scene.Name)
		}
	}
}

// table films each scene in turn, and prints after each round what all rounds showed: a
// run that is ended early has as many films of each.
func table(b *testing.B, all []render.Scene) {
	for range b.N {
		begun, sums := time.Now(), make([]bothWays, len(all))
		for n := range *benchFilms {
			for i, scene := range all {
				if *benchScenes != "" && !slices.Contains(strings.Split(*benchScenes, ","), scene.Name) {
					continue
				}
				if *benchFor > 0 && time.Since(begun) > *benchFor {
					break
				}
				sums[i].film(b, scene, 100*i+n) // no two scenes have the same strings and faults
			}
			fmt.Printf("after %d rounds, %.0f s:\n", n+1, time.Since(begun).Seconds())
			var total bothWays
			for i, scene := range all {
				if s := sums[i]; s.without.films > 0 {
					s.print(scene.Name)
					total.without.add(s.without)
					total.with.add(s.with)
				}
			}
			total.print("all")
			fmt.Printf("without a drawing: %s\nwith a drawing:    %s\n", total.without.byKind(), total.with.byKind())
		}
	}
}

// bothWays is a score without a drawing, and one with it.
type bothWays struct{ without, with score }

// film films a scene, of a seed so far from the first, and adds what is read.
func (p *bothWays) film(b *testing.B, scene render.Scene, seed int) {
	scene.Seed = *benchSeed + uint64(seed)
	without, with := measure(b, scene, *benchKeep)
	p.without.add(without)
	p.with.add(with)
	if *benchSay {
		fmt.Printf("%s seed %d\n%s\n  with a drawing:\n%s\n", scene.Name, scene.Seed, explain(without), explain(with))
	}
}

func (p bothWays) print(name string) {
	fmt.Printf("%-12s %s\n%-12s with a drawing: strings %d/%d named, %d accused; dies %d/%d, %d false; stuck %d/%d, %d false\n", name, p.without.String(), "",
		p.with.named, p.with.faults, p.with.accused, p.with.diesFound, p.with.dies, p.with.diesFalse, p.with.hotFound, p.with.hot, p.with.hotFalse)
}
