package film

import (
	"math"
	"slices"

	"yardproof/patterns/camera"
)

// sight is what a film shows, sorted by the plan's strings.
type sight struct {
	yard   *yard
	got    *camera.Reading
	run    []int // of each light: which lights hang together
	places map[int][]int
	string []int // of each light: index of the string it is taken to be of; -1: none
}

const gap = 4 // pixels that may be missing within a run

func (y *yard) sort(got *camera.Reading) *sight {
	s := &sight{yard: y, got: got, places: map[int][]int{}, string: make([]int, len(got.Lights))}
	for i, l := range got.Lights {
		s.places[l.First] = append(s.places[l.First], i)
	}
	s.link()
	s.assign()
	return s
}

// link finds runs: lights whose addresses follow each other and that lie no farther
// apart than that. Lights are in the order of addresses.
func (s *sight) link() {
	lights := s.got.Lights
	s.run = make([]int, len(lights))
	for i := range s.run {
		s.run[i] = i
	}
	root := func(i int) int {
		for s.run[i] != i {
			s.run[i] = s.run[s.run[i]]
			i = s.run[i]
		}
		return i
	}
	for i, p := range lights {
		for j := i + 1; j < len(lights); j++ {
			q := lights[j]
			step := q.First - p.First
			if step > gap*p.Slots+2 {
				break
			}
			n := math.Round(float64(step) / float64(p.Slots))
			if math.Hypot(p.X-q.X, p.Y-q.Y) <= 1.7*(n+.6)*max(p.Pitch, q.Pitch)/max(1, .75*n) {
				s.run[root(j)] = root(i)
			}
		}
	}
	for i := range s.run {
		s.run[i] = root(i)
	}
}

// ownerOf is the string that has a slot in the plan; -1: none.
func (y *yard) ownerOf(address int) int {
	if address < 0 || address >= len(y.slot) {
		return -1
	}
	return int(y.slot[address])
}

// assign says of which string each light is. An address that is seen once is its own
// string's. One that nobody owns, or that is seen twice, is of the run it lies in.
func (s *sight) assign() {
	lights := s.got.Lights
	count := map[[2]int]float64{} // run, string
	for i, l := range lights {
		weight := 1.0
		if l.Echo {
			weight = .4
		}
		if o := s.yard.ownerOf(l.First); o >= 0 {
			count[[2]int{s.run[i], o}] += weight
		}
	}
	home := map[int]int{} // of a string: the run with most of it
	for k, n := range count {
		h, known := home[k[1]]
		if o := count[[2]int{h, k[1]}]; !known || n > o || n == o && k[0] < h {
			home[k[1]] = k[0]
		}
	}
	residents := map[int][]int{}
	for str, run := range home {
		residents[run] = append(residents[run], str)
	}
	for _, r := range residents {
		slices.Sort(r)
	}
	for i, l := range lights {
		o, run := s.yard.ownerOf(l.First), s.run[i]
		s.string[i] = -1
		switch {
		case o >= 0 && home[o] == run:
			s.string[i] = o
		case o >= 0 && !l.Echo && (len(s.places[l.First]) == 1 || len(residents[run]) == 0):
			s.string[i] = o
		default:
			s.string[i] = s.yard.nearest(residents[run], l.First)
		}
	}
}

// nearest is the string whose addresses are nearest to one; -1: there is none.
func (y *yard) nearest(strings []int, address int) int {
	best, at := math.MaxInt, -1
	for _, i := range strings {
		first := y.strings[i].first
		away := max(first[0]-address, address-first[len(first)-1], 0)
		if away < best {
			best, at = away, i
		}
	}
	return at
}
