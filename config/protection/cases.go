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
	var found pieces
	found.all(w, m)
	return found.named()
}

// one is worst in one fault alone: all that is warned of.
func (w *wiring) one(m *memory) []Piece {
	found := pieces{one: true}
	found.all(w, m)
	return found.named()
}

// all takes every case, or, where there is a most, those up to the first that is worse.
func (found *pieces) all(w *wiring, m *memory) {
	found.wiring, found.list, found.opens, found.worse = w, found.list[:0], found.opens[:0], false
	found.nth = sized(found.nth, found.number(spot{rail: 2}))
	if cap(found.list) == 0 {
		found.list = make([]Piece, 0, len(found.nth))
	}
	whole := [2]*rail{w.plus(), w.plus()}
	if len(w.Cuts) > 0 { // else V+ and return are alike
		m.minus.lay(w, nil, nothing)
		whole[1] = &m.minus
	}
	loads := w.loads()
	try := func(plus, minus *rail, when open) {
		if len(plus.leads) == 0 || len(minus.leads) == 0 || found.worse {
			return
		}
		h, rails := holds(plus, w), [2]*rail{plus, minus}
		if when != (open{}) {
			found.opens = append(found.opens, when)
		}
		for _, load := range loads {
			if !found.worse && (when == open{} || !found.one) {
				found.take(rails, m.worstCase(plus, minus, h, load, w.s.Volts), when)
			}
		}
		if when != (open{}) { // what is open is a fault by itself; without volts there is no second
			found.take(rails, m.worstCase(plus, minus, nil, load{nodes: w.White}, 0), when)
		}
	}
	try(whole[0], whole[1], open{})
	if len(w.s.Feeds) == 1 {
		return
	}
	lose := func(lost func(*config.Feed) bool, of, name string, order ...string) {
		for i, what := range order {
			cuts := w.Cuts
			if what == "return" {
				cuts = nil
			}
			if i == 0 || len(w.Cuts) > 0 {
				m.without.lay(w, cuts, lost)
			}
			if what == "return" {
				try(whole[0], &m.without, open{what, of, name})
			} else {
				try(&m.without, whole[1], open{what, of, name})
			}
		}
	}
	feeders := map[*config.Feeder]bool{}
	for _, f := range w.s.Feeds {
		lose(only(f), "the feed at ", f.At, "return", "fuse")
		if h := f.Feeder; h != nil && !feeders[h] {
			feeders[h] = true
			lose(func(o *config.Feed) bool { return o.Feeder == h }, "feeder ", h.Name, "fuse", "return")
		}
		if found.worse {
			return
		}
	}
}

// open is what is, besides: nothing, or the return or the fuse of a feed or feeder.
type open struct{ what, of, name string }

func (o open) text() string {
	return fmt.Sprintf("with the %s of %s%s open", o.what, o.of, o.name)
}

// pieces keeps the worst of each spot.
type pieces struct {
	*wiring
	list  []Piece
	nth   []int  // by the spot's number, from 1; 0: not in the list yet
	opens []open // besides, case by case

	one   bool      // fault and no more
	most  []float64 // how far past its limit a spot may be in one fault, by its number, 1 where it is less; empty: as far as it is
	worse bool      // some spot is further
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

// number counts the spots of a string from 0.
func (w *wiring) number(at spot) int {
	jumpers, feeds := len(w.s.Jumpers), len(w.s.Feeds)
	n := [...]int{onPitch: 0, onJumper: 1, onLead: 1 + jumpers, onFeeder: 1 + jumpers + feeds}[at.kind] + at.n
	each := 1 + jumpers + feeds + len(w.boxes)
	if n += 2 * at.rail * each; at.twice {
		n += each
	}
	return n
}

func (p *pieces) take(rails [2]*rail, w *worst, when open) {
	s := p.s
	for i := range rails {
		top, most := 0, -1.0
		wire := w.wire[i]
		for k := 1; k < len(wire); k++ {
			if j := p.jumper[k] - 1; j >= 0 {
				p.add(spot{rail: i, kind: onJumper, n: j}, k, wire[k], when, s.Jumpers[j].Wire, p.hangs(), s.ConnectorAmps)
			} else if wire[k].amps > most {
				top, most = k, wire[k].amps*(1+1e-9)
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
func (p *pieces) add(at spot, node int, c current, when open, wire config.Wire, celsius, connector float64) {
	at.twice = c.place >= 0 && when != open{}
	number := p.number(at)
	if n := p.nth[number]; n > 0 && c.amps < p.list[n-1].Amps { // most
		return
	}
	amps := math.Round(c.amps*1e6) / 1e6
	if p.nth[number] == 0 {
		p.nth[number] = 1 + len(p.list)
		may := budget.MayCarry(wire, celsius)
		p.list = append(p.list, Piece{Conductor: [2]string{"V+", "return"}[at.rail], Amps: -1, MayAmps: may, Connector: connector, holds: p.plan.Protection.FuseHolds, spot: at})
	}
	piece := &p.list[p.nth[number]-1]
	if amps <= piece.Amps {
		return
	}
	piece.Amps, piece.open, piece.node, piece.Fault = amps, 0, node, 0
	if when != (open{}) {
		piece.open = len(p.opens)
	}
	if c.place >= 0 {
		piece.Fault = max(p.Pixel(int(math.Round(c.place))), 1)
	}
	if len(p.most) > 0 && !at.twice && piece.over() > max(1, p.most[number])*(1+1e-9) {
		p.worse = true
	}
}

// named says where the pieces are.
func (p *pieces) named() []Piece {
	for i := range p.list {
		x := &p.list[i]
		if x.open > 0 {
			x.When = p.opens[x.open-1].text()
		}
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
