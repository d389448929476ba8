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

// assign says of which string each light is: its address's own, if that lies here. A
// string may lie in parts, as at a jumper; but lights that show addresses of a string
// which is seen elsewhere are of the string that lies where they are.
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
	atHome := map[int]bool{} // addresses
	for i, l := range lights {
		if o := s.yard.ownerOf(l.First); o >= 0 && home[o] == s.run[i] {
			atHome[l.First] = true
		}
	}
	parts := map[[2]int]int{} // lights that show what is not at home
	for i, l := range lights {
		if o := s.yard.ownerOf(l.First); o >= 0 && (home[o] == s.run[i] || !atHome[l.First] && !l.Echo) {
			parts[[2]int{s.run[i], o}]++
		}
	}
	residents := map[int][]int{}
	for k, n := range parts {
		if home[k[1]] == k[0] || n >= part {
			residents[k[0]] = append(residents[k[0]], k[1])
		}
	}
	for _, r := range residents {
		slices.Sort(r)
	}
	for i, l := range lights {
		o, run := s.yard.ownerOf(l.First), s.run[i]
		here := residents[run]
		lives := o >= 0 && slices.Contains(here, o)
		away := o >= 0 && home[o] != run && (atHome[l.First] || s.beside(l, o, atHome))
		switch {
		case lives && !away, o >= 0 && len(here) == 0 && !l.Echo, o >= 0 && !lives && !away:
			s.string[i] = o
		default:
			s.string[i] = s.yard.nearest(slices.DeleteFunc(slices.Clone(here), func(r int) bool { return r == o }), l.First)
		}
	}
}

// part is how many lights of a string make a part of it that lies by itself.
const part = 3

// beside reports whether pixels next to a light's address are at their string's home:
// then that pixel would be there too.
func (s *sight) beside(l camera.Light, str int, atHome map[int]bool) bool {
	n := 0
	for k := 1; k <= gap; k++ {
		for _, a := range []int{l.First - k*l.Slots, l.First + k*l.Slots} {
			if s.yard.ownerOf(a) == str && atHome[a] {
				n++
			}
		}
	}
	return n >= 3
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
