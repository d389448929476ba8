package protection

import (
	"fmt"
	"math"

	"yardproof/config"
	"yardproof/config/budget"
)

// worst goes through the cases: all whole, each return open, each fuse gone, each
// feeder gone, with the pixels dark and at full white.
func (w *wiring) worst(m *memory) []Piece {
	found := pieces{wiring: w, at: map[spot]int{}}
	found.all(m)
	return found.named()
}

// one is worst in one fault alone: all that is warned of.
func (w *wiring) one(m *memory) []Piece {
	found := pieces{wiring: w, at: map[spot]int{}, one: true}
	found.all(m)
	return found.named()
}

// all takes every case, or, where there is a most, those up to the first that is worse.
func (found *pieces) all(m *memory) {
	w := found.wiring
	whole := [2]*rail{&m.whole[0], &m.whole[1]}
	whole[0].lay(w, w.Cuts, nothing)
	whole[1].lay(w, nil, nothing)
	without := func(cuts []int, lost func(*config.Feed) bool) *rail { // one at a time
		m.without.lay(w, cuts, lost)
		return &m.without
	}
	loads := w.loads()
	try := func(plus, minus *rail, when string) {
		if len(plus.leads) == 0 || len(minus.leads) == 0 || found.worse {
			return
		}
		h, rails := holds(plus, w), [2]*rail{plus, minus}
		for _, load := range loads {
			if !found.worse && (when == "" || !found.one) {
				found.take(rails, m.worstCase(plus, minus, h, load, w.s.Volts), when)
			}
		}
		if when != "" { // what is open is a fault by itself; without volts there is no second
			found.take(rails, m.worstCase(plus, minus, nil, load{nodes: w.White}, 0), when)
		}
	}
	try(whole[0], whole[1], "")
	if len(w.s.Feeds) == 1 {
		return
	}
	feeders := map[*config.Feeder]bool{}
	for _, f := range w.s.Feeds {
		try(whole[0], without(nil, only(f)), fmt.Sprintf("with the return of the feed at %s open", f.At))
		try(without(w.Cuts, only(f)), whole[1], fmt.Sprintf("with the fuse of the feed at %s open", f.At))
		if h := f.Feeder; h != nil && !feeders[h] {
			feeders[h] = true
			gone := func(o *config.Feed) bool { return o.Feeder == h }
			try(without(w.Cuts, gone), whole[1], fmt.Sprintf("with the fuse of feeder %s open", h.Name))
			try(whole[0], without(nil, gone), fmt.Sprintf("with the return of feeder %s open", h.Name))
		}
		if found.worse {
			return
		}
	}
}

// pieces keeps the worst of each spot.
type pieces struct {
	*wiring
	list []Piece
	at   map[spot]int

	one   bool             // fault and no more
	most  map[spot]float64 // how far past its limit a spot may be in one fault, 1 where it is not said; nil: as far as it is
	worse bool             // some spot is further
}

// A spot is a place on one conductor: the pitch, a jumper, a lead or a feeder.
type spot struct {
	rail, kind, n int
	twice         bool
}

const (
	onPitch = iota
	onJumper
	onLead
	onFeeder
)

func (p *pieces) take(rails [2]*rail, w *worst, when string) {
	s := p.s
	for i := range rails {
		top := 0
		wire := w.wire[i]
		for k := 1; k < len(wire); k++ {
			if j, ok := p.jumper[k]; ok {
				p.add(spot{rail: i, kind: onJumper, n: j}, k, wire[k], when, s.Jumpers[j].Wire, p.hangs(), s.ConnectorAmps)
			} else if top == 0 || wire[k].amps > wire[top].amps*(1+1e-9) {
				top = k
			}
		}
		if top > 0 {
			p.add(spot{rail: i, kind: onPitch}, top, wire[top], when, s.Pitch, p.hangs(), s.ConnectorAmps)
		}
		for j, l := range rails[i].leads {
			f := s.Feeds[l.feed]
			if f.Wire.Known() || f.ConnectorAmps > 0 {
				p.add(spot{rail: i, kind: onLead, n: l.feed}, 0, w.leads[i][j], when, f.Wire, p.leadCelsius(f), f.ConnectorAmps)
			}
		}
		for j, x := range rails[i].feeders {
			f := p.boxes[x.box]
			p.add(spot{rail: i, kind: onFeeder, n: x.box}, 0, w.leads[i][len(rails[i].leads)+j], when, f.Wire, p.feederCelsius(f), f.ConnectorAmps)
		}
	}
}

// add takes the current of a spot, with its wire, the temperature there and what its
// connector may carry.
func (p *pieces) add(at spot, node int, c current, when string, wire config.Wire, celsius, connector float64) {
	at.twice = c.place >= 0 && when != ""
	amps := math.Round(c.amps*1e6) / 1e6
	n, ok := p.at[at]
	if !ok {
		n = len(p.list)
		p.at[at] = n
		may, _ := budget.AmpacityAt(wire, celsius)
		p.list = append(p.list, Piece{Conductor: [2]string{"V+", "return"}[at.rail], Amps: -1, MayAmps: may, Connector: connector, holds: p.plan.Protection.FuseHolds, spot: at})
	}
	piece := &p.list[n]
	if amps <= piece.Amps {
		return
	}
	piece.Amps, piece.When, piece.node, piece.Fault = amps, when, node, 0
	if c.place >= 0 {
		piece.Fault = max(p.Pixel(int(math.Round(c.place))), 1)
	}
	if p.most != nil && !at.twice && piece.over() > max(1, p.most[at])*(1+1e-9) {
		p.worse = true
	}
}

// named says where the pieces are.
func (p *pieces) named() []Piece {
	for i := range p.list {
		x := &p.list[i]
		switch x.spot.kind {
		case onPitch:
			x.Place = fmt.Sprintf("pitch ahead of pixel %d", max(p.Pixel(x.node), 1))
		case onJumper:
			x.Place = fmt.Sprintf("jumper after pixel %d", p.Pixel(x.node-1))
		case onLead:
			x.Place = "lead at " + p.s.Feeds[x.spot.n].At
		case onFeeder:
			x.Place = "feeder " + p.boxes[x.spot.n].Name
		}
	}
	return p.list
}
