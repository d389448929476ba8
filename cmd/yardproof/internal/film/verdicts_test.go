package film

import (
	"math"
	"slices"
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
		"tops":         {[]camera.Light{steady(4.5, .05), steady(8, .05)}, [4]Verdict{Good, NotSeen, NotSeen, Good}},
		"a window":     {[]camera.Light{steady(5, .4), steady(10, .6)}, [4]Verdict{Good, NotSeen, NotSeen, Good}},
	} {
		j := judgedOf(4, lights, tt.others)
		j.shine = j.stuck()
		j.verdicts()
		for k, p := range j.pixels {
			if p.Verdict != tt.want[k] {
				t.Errorf("%s: pixel %d is %s, want %s", name, k+1, p.Verdict, tt.want[k])
			}
		}
	}
}

// A stuck pixel is found where a string turns back, at its ends, and with a drawing among
// pixels that are dark; never twice, and not where a drawing has nothing.
func TestStuckAtFoldsAndEnds(t *testing.T) {
	t.Parallel()
	place := func(k int) (x, y float64) { // six to the right, then back below
		if k < 6 {
			return float64(5 * k), 0
		}
		return float64(5 * (11 - k)), 9
	}
	for name, tt := range map[string]struct {
		unread []int
		lit    [2]float64 // a light that shines
		drawn  bool
		stuck  int // -1: none
	}{
		"before the fold":             {[]int{5}, [2]float64{25, 0}, false, 5},
		"after the fold":              {[]int{6}, [2]float64{25.3, 8.9}, false, 6},
		"the first":                   {[]int{0}, [2]float64{0, .3}, false, 0},
		"the last":                    {[]int{11}, [2]float64{0, 9}, false, 11},
		"beside one that is dark":     {[]int{10, 11}, [2]float64{0, 9}, false, 11},
		"in the dark":                 {[]int{7, 8, 9, 10, 11}, [2]float64{5, 9}, false, -1},
		"in the dark, drawn":          {[]int{7, 8, 9, 10, 11}, [2]float64{5, 9}, true, 10},
		"beside the line":             {[]int{5, 6}, [2]float64{29, 5}, true, -1},
		"between two":                 {[]int{10, 11}, [2]float64{2, 9}, false, 11},
		"too far from where it hangs": {[]int{11}, [2]float64{-2.4, 9}, true, -1},
	} {
		var lights []camera.Light
		for k := range 12 {
			if x, y := place(k); !slices.Contains(tt.unread, k) {
				lights = append(lights, camera.Light{First: 3 * k, X: x, Y: y, Mean: .5, Pitch: 5, Margin: 200})
			}
		}
		if name == "between two" {
			lights[0].Pitch = 9 // it is nearer to its beginning: the reach is that of its widest
		}
		j := judgedOf(12, lights, []camera.Light{{First: -1, X: tt.lit[0], Y: tt.lit[1], Dark: 1, Mean: .6, Around: .05}})
		if tt.drawn {
			j.yard.layout = Layout{}
			for k := range 12 {
				x, y := place(k)
				j.yard.layout["s"] = append(j.yard.layout["s"], Spot{k + 1, x / 10, y / 10})
			}
			j.to = func(x, y float64) (float64, float64) { return 10*x + 1, 10*y - 1 } // a little beside
		}
		j.shine = j.stuck()
		j.verdicts()
		for k, p := range j.pixels {
			if (p.Verdict == Stuck) != (k == tt.stuck) || k == tt.stuck && (p.X != tt.lit[0] || p.Y != tt.lit[1]) {
				t.Errorf("%s: pixel %d is %s at %.1f, %.1f", name, k+1, p.Verdict, p.X, p.Y)
			}
		}
	}
}

// A pixel that is stuck at an end is seen, though its address is not; others beyond it are
// not.
func TestEndsWithStuck(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		stuck      []int
		head, tail int
	}{
		"none": {nil, 2, 3}, "at the inner side": {[]int{1, 17}, 1, 2}, "at the outer side": {[]int{0, 19}, 2, 3}, "all": {[]int{0, 1, 17, 18, 19}, 0, 0},
	} {
		j := judgedOf(20, nil, nil)
		var main []seen
		for k := 2; k < 17; k++ {
			main = append(main, seen{3 * k, math.NaN()})
		}
		j.shine = map[int]shining{}
		for _, k := range tt.stuck {
			j.shine[k] = shining{pixel: k}
		}
		j.ends(main, 20)
		got := map[Kind]int{}
		for _, f := range j.findings {
			got[f.Kind] = f.Count
		}
		if got[KindHead] != tt.head || got[KindTail] != tt.tail {
			t.Errorf("%s: %+v", name, j.findings)
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
