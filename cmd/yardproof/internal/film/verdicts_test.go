package film

import (
	"math"
	"testing"

	"yardproof/config"
	"yardproof/patterns/camera"
)

// judgedOf is a string of pixels five image pixels apart, as it is before verdicts.
func judgedOf(pixels int, lights, others []camera.Light) *judged {
	j := &judged{sight: &sight{yard: &yard{}, got: &camera.Reading{Lights: lights, Others: others}, places: map[int][]int{}},
		planned: planned{String: &config.String{Name: "s"}}, others: camera.NewGrid(others), by: make([]*camera.Light, pixels)}
	for k := range pixels {
		j.first = append(j.first, 3*k)
	}
	j.how.first = j.first
	for i := range lights {
		l := &lights[i]
		j.lights = append(j.lights, found{i, math.NaN()})
		j.places[l.First] = append(j.places[l.First], i)
		if !l.Echo {
			j.by[l.First/3] = l
		}
	}
	return j
}

// Two stuck pixels side by side light what is around each other; a window is no two stuck
// pixels, and light beside one alone is no stuck pixel's.
func TestStuckSideBySide(t *testing.T) {
	t.Parallel()
	lights := []camera.Light{{First: 0, X: 0, Mean: .5, Pitch: 5, Margin: 200}, {First: 9, X: 15, Mean: .5, Pitch: 5, Margin: 200}}
	steady := func(x, around float64) camera.Light {
		return camera.Light{First: -1, X: x, Dark: 1, Mean: 1, Around: around}
	}
	for name, tt := range map[string]struct {
		others []camera.Light
		want   [4]Verdict
	}{
		"one":          {[]camera.Light{steady(5, .02)}, [4]Verdict{Good, Stuck, NotSeen, Good}},
		"two":          {[]camera.Light{steady(5, .2), steady(10, .2)}, [4]Verdict{Good, Stuck, Stuck, Good}},
		"light beside": {[]camera.Light{steady(5, .2)}, [4]Verdict{Good, NotSeen, NotSeen, Good}},
		"a window":     {[]camera.Light{steady(5, .4), steady(10, .6)}, [4]Verdict{Good, NotSeen, NotSeen, Good}},
	} {
		j := judgedOf(4, lights, tt.others)
		j.verdicts()
		for k, p := range j.pixels {
			if p.Verdict != tt.want[k] {
				t.Errorf("%s: pixel %d is %s, want %s", name, k+1, p.Verdict, tt.want[k])
			}
		}
	}
}

// What blinks with a light that is too bright for the film is no copy of its pixel.
func TestGlareIsNoCopy(t *testing.T) {
	t.Parallel()
	for want, mean := range map[int]float64{1: .1, 2: 1.6} {
		var lights []camera.Light
		for k := range 5 {
			x := float64(14 * k)
			lights = append(lights, camera.Light{First: 3 * k, X: x, Mean: 2, Pitch: 14}, camera.Light{First: 3 * k, X: x + 6, Mean: mean, Pitch: 14, Echo: true})
		}
		if got := judgedOf(5, lights, nil).countCopies(); got != want {
			t.Errorf("beside lights of 2 there are places of %v: %d copies, want %d", mean, got, want)
		}
	}
}
