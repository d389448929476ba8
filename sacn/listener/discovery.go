package listener

import (
	"math/bits"

	"yardproof/sacn"
)

// UniverseSet is a set of universes.
type UniverseSet [1 << 16 / 64]uint64

// Add puts a universe in.
func (s *UniverseSet) Add(universe uint16) { s[universe/64] |= 1 << (universe % 64) }

// Has reports whether a universe is in.
func (s *UniverseSet) Has(universe uint16) bool { return s[universe/64]&(1<<(universe%64)) != 0 }

// Len returns the number of universes.
func (s *UniverseSet) Len() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// List returns the universes, ascending.
func (s *UniverseSet) List() []uint16 {
	list := make([]uint16, 0, s.Len())
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			list = append(list, uint16(i*64+bits.TrailingZeros64(w)))
		}
	}
	return list
}

// pages assembles the universe list of one source from its discovery pages
// (clause 8). Pages may come in any order; a page that comes twice, or names
// another last page, begins a new list.
type pages struct {
	list     *UniverseSet // of the last complete list; nil: none yet
	complete moment       // when it became so

	next    *UniverseSet
	last    uint8
	got     [256 / 64]uint64
	missing int
	begun   moment
}

func (p *pages) page(d *sacn.Discovery, now moment) {
	word, bit := &p.got[d.Page/64], uint64(1)<<(d.Page%64)
	if p.missing == 0 || d.LastPage != p.last || *word&bit != 0 || now-p.begun > sacn.DiscoveryInterval {
		if p.next == nil {
			p.next = new(UniverseSet)
		}
		*p.next = UniverseSet{}
		p.last, p.got, p.missing, p.begun = d.LastPage, [4]uint64{}, int(d.LastPage)+1, now
	}
	*word |= bit
	p.missing--
	for i := range d.Universes.Len() {
		if u := d.Universes.At(i); sacn.ValidUniverse(u) {
			p.next.Add(u)
		}
	}
	if p.missing == 0 {
		p.list, p.next = p.next, p.list
		p.complete = now
	}
}
