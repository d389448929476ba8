package film

import (
	"math"
	"slices"

	"yardproof/config"
	"yardproof/patterns/camera"
)

// judge turns lights into verdicts.
func (y *yard) judge(got *camera.Reading) *Result {
	s := y.sort(got)
	r := &Result{Plan: y.plan.Name}
	gain, others := gains(got.Lights), camera.NewGrid(got.Others)
	to, placed := s.fitLayout()
	for i, p := range y.strings {
		lights := s.of(i, to, placed)
		j := &judged{sight: s, str: i, planned: p, lights: lights, others: others, to: to}
		j.judge(gain)
		r.Strings = append(r.Strings, j.result())
		r.Pixels = append(r.Pixels, j.pixels...)
	}
	return r
}

// found is a light of a string, and where along it: NaN when no layout tells.
type found struct {
	light int
	at    float64
}

// of are the lights of a string: those that lie on it, where the layout has it.
func (s *sight) of(str int, to func(x, y float64) (float64, float64), placed bool) (all []found) {
	if placed {
		if on, ok := s.along(str, to); ok {
			for i, at := range on {
				all = append(all, found{i, at})
			}
			slices.SortFunc(all, func(a, b found) int { return a.light - b.light })
			return all
		}
	}
	for i, of := range s.string {
		if of == str {
			all = append(all, found{i, math.NaN()})
		}
	}
	return all
}

// judged is a string while it is judged.
type judged struct {
	*sight
	planned

	str      int
	lights   []found
	others   camera.Grid
	to       func(x, y float64) (float64, float64) // from the drawing to the picture; nil: not known
	how      hypothesis
	by       []*camera.Light // of each pixel as it hangs, nil: not read
	colours  colours
	shine    map[int]shining // by pixel: those stuck on
	copies   int             // places that show one address
	pixels   []Pixel
	findings []Finding
}

func (j *judged) judge(gain [3]float64) {
	main, placed := []seen{}, false
	j.copies = j.countCopies()
	for _, f := range j.lights {
		l := j.got.Lights[f.light]
		if l.Echo && (j.copies > 1 || math.IsNaN(f.at)) && j.run[f.light] == j.run[j.places[l.First][0]] {
			continue // its brighter twin is there
		}
		main = append(main, seen{l.First, f.at})
		placed = placed || !math.IsNaN(f.at)
	}
	j.how = hypothesis{first: j.first}
	if len(main) >= 3 {
		j.how = best(j.yard.hypotheses(j.str, placed && j.copies == 1), main)
	}
	j.place()
	var or config.Order
	if j.how.kind == KindSwapped {
		or = j.yard.strings[j.how.other].Order // as its port is set
	}
	j.colours = judgeColours(j.Order, or, j.by, gain)
	j.shine = j.stuck()
	j.find(main)
	j.verdicts()
}

// leastCopy is how bright a copy is at least, of the brightest pixel of its address: about a
// light that is too bright for the film there are places that blink with it, of which none
// had more than .05.
const leastCopy = .2

// countCopies is how many places beside each other show one address, as most do.
func (j *judged) countCopies() int {
	count := map[int]int{}
	for _, f := range j.lights {
		l := j.got.Lights[f.light]
		for _, g := range j.places[l.First] {
			o := j.got.Lights[g]
			if !o.Echo && math.Hypot(l.X-o.X, l.Y-o.Y) < 2.2*max(l.Pitch, 1) && l.Mean > leastCopy*o.Mean {
				count[l.First]++
			}
		}
	}
	var all []int
	for _, n := range count {
		all = append(all, n)
	}
	if len(all) < 3 {
		return max(1, j.Copies)
	}
	slices.Sort(all)
	return max(1, all[len(all)/2])
}

// place finds the light of each pixel.
func (j *judged) place() {
	j.by = make([]*camera.Light, len(j.first))
	lights := map[int]*camera.Light{}
	for _, f := range j.lights {
		l := &j.got.Lights[f.light]
		if was := lights[l.First]; was == nil || was.Echo && !l.Echo {
			lights[l.First] = l
		}
	}
	for k, a := range j.how.first[:min(len(j.how.first), len(j.by))] {
		if a >= 0 {
			j.by[k] = lights[a]
		}
	}
}
