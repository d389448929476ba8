package rehearsal

import (
	"net/netip"
	"slices"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// showComputer is where a planted second source would stand: an address that no
// computer has (RFC 5737).
var showComputer = netip.AddrFrom4([4]byte{192, 0, 2, 66})

// Competing tells of the second sources that are still planted what listening on a
// real network would: nothing of theirs is on the loopback interface.
func (r *Rehearsal) Competing([]uint16) []listener.CompetingSource {
	r.mu.Lock()
	defer r.mu.Unlock()
	var all []listener.CompetingSource
	p := r.cfg.Plan
	for _, f := range append(r.game.left(), r.cfg.Faults...) {
		if f.Kind != yard.SecondSource {
			continue
		}
		at := p.Find(f.String).Controller
		for n, s := range p.Strings {
			if s.Controller != at {
				continue
			}
			for _, segment := range p.Map().Strings[n].Segments {
				c := listener.CompetingSource{
					Universe: segment.Universe, CID: yard.OtherSource, Name: "show computer", Address: showComputer,
					Priority: yard.OtherPriority(p, f), Precedence: listener.Tie,
				}
				if int(c.Priority) > min(p.Source.Priority, sacn.MaxPriority) {
					c.Precedence = listener.Theirs
				}
				if !slices.Contains(all, c) {
					all = append(all, c)
				}
			}
		}
	}
	return all
}
