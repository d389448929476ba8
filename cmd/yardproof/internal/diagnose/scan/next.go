package scan

import (
	"cmp"
	"math"
	"slices"
)

// places is how many places of a block are weighed along the line.
const places = 25

// heeded is how many of the likeliest hypotheses a block is chosen by.
const heeded = 150

// next is the block whose reading the hypotheses differ about most, in units of what
// each would leave open. The first readings are the dark and both ends.
func (s *state) next(readings []Reading) Block {
	near, far := s.ends()
	for _, b := range []Block{{}, near, far} {
		if !slices.ContainsFunc(readings, func(r Reading) bool { return r.Block == b }) {
			return b
		}
	}
	none := s.all[0]
	none.weight = min(none.weight, 0.5) // what is all but excluded is to be excluded well
	likely := []*hypothesis{&none}
	for i := range s.all[1:] {
		likely = append(likely, &s.all[i+1])
	}
	slices.SortFunc(likely, func(a, b *hypothesis) int { return cmp.Compare(b.weight, a.weight) })
	likely = likely[:min(heeded, len(likely))]
	best, most := far, -1.0
	for _, b := range s.candidates() {
		d := s.line.drawn(b)
		var sum, mean, square, within float64
		for _, h := range likely {
			value, vary := s.expects(d, h)
			sum, mean, square, within = sum+h.weight, mean+h.weight*value, square+h.weight*value*value, within+h.weight*vary
		}
		tells := math.Log1p((square/sum - mean*mean/sum/sum) / (within / sum))
		for _, r := range readings {
			if r.Block == b { // the same again tells of the meter's last digit only
				tells /= 2
			}
		}
		if tells > most {
			best, most = b, tells
		}
	}
	return best
}

// ends are the longest blocks at the feed, or first feed, and at the other end.
func (s *state) ends() (near, far Block) {
	l := s.line
	near, far = Block{l.From, l.From + l.Most - 1}, Block{l.To - l.Most + 1, l.To}
	if l.Back {
		near, far = far, near
	}
	return near, far
}

func (s *state) candidates() []Block {
	l := s.line
	var all []Block
	step := max(1, (l.To-l.From+1)/places)
	for _, size := range slices.Compact([]int{l.Most, max(1, l.Most/2), max(1, l.Most/4), max(1, l.Most/10)}) {
		for from := l.From; from+size-1 <= l.To; from += step {
			all = append(all, Block{from, from + size - 1})
		}
	}
	return all
}
