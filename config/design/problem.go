package design

import (
	"math"

	"yardproof/config"
	"yardproof/config/budget"
)

// A problem is one string that is to be fed from one source.
type problem struct {
	*judge
	s      *config.String
	beside []*config.String // on the same feeder
	list   *List
	budget *budget.Budget // of the plan as it is: how hot its boxes are
	src    source
	wiring budget.Wiring

	source, need float64 // volts at the source at the asked level, and what pixels need
	level        *ladder // at the asked level, at the worst side of the plan's tolerance
	nominal      *ladder // at the asked level, by the plan's own figures
	white        *ladder // at full white
	draws        float64 // amperes at the asked level, by the plan's own figures
	holds        float64 // of a fuse, in ratings
	may          float64 // amperes that the thinnest wire along the string may have as a fuse
	bears        float64 // amperes of a fault that its wire and connectors bear
	kinds        []kind  // in the list's order
	places       []place
	leads        [][]lead // by place: in the order of the list's wires
}

// A lead is a wire from the source to a place.
type lead struct {
	wire      config.Wire
	price     float64
	g, worstG float64 // of the loop
	most      float64 // amperes that may flow for long through the largest fuse that fits
	fuses     []config.StockFuse
}

// newProblem lays a string out; beside it a feeder carries some amperes for others at
// the asked level. The words say why it cannot be.
func newProblem(j *judge, list *List, s *config.String, b *budget.Budget, n int, src source, beside []*config.String, others float64) (*problem, string) {
	w, ok := b.Wiring(n)
	r := &b.Strings[n]
	switch {
	case len(s.CutPositiveAfter) > 0:
		return nil, "its V+ is cut: write each piece as a string of its own, or feed it by hand"
	case r.FullWhiteAmps == 0:
		return nil, "its current is not known: set amps_per_pixel"
	case s.Volts == 0:
		return nil, "its volts are not known: write volts: with what the pixels are made for"
	case !s.Pitch.Known() && s.Pixels > 1:
		return nil, "the wire from pixel to pixel is not known: set pitch"
	case !ok:
		return nil, "its wires cannot be worked out"
	case r.WorkingVolts == 0:
		return nil, "at how many volts its colours fade is not known: write chip: {name: " + s.Chip.Name + ", lowest_volts: ...}"
	}
	p := &problem{judge: j, s: s, beside: beside, list: list, budget: b, src: src, wiring: w, source: s.Volts, need: r.WorkingVolts, holds: j.plan.Protection.FuseHolds}
	lit := 0
	for lit < len(w.White)-1 && w.Pixel(lit) == 0 {
		lit++
	}
	at := make([]float64, len(w.White))
	for k := range at {
		at[k] = w.Idle[k] + j.opts.Level*(w.White[k]-w.Idle[k])
	}
	for _, a := range at {
		p.draws += a
	}
	tol := worstSide(j.plan.Tolerance)
	p.level = newLadder(tol.jointed(&w, s), at, lit, 1, tol.load)
	p.nominal = newLadder(w.Ohms, at, lit, 1, 1)
	p.white = newLadder(w.Ohms, w.White, lit, 1, 1)
	if f := src.feeder; f != nil {
		p.source -= 2 * (tol.wire*budget.FeederOhms(j.plan, f) + tol.joints) * tol.load * (others + p.draws)
	}
	for _, w := range list.Wire {
		p.kinds = append(p.kinds, p.kindAt(w, p.hangs()))
	}
	p.may, p.bears = p.wireLimits()
	if p.places, ok = places(p, src); !ok {
		return nil, "how far it is from " + src.name() + " is not known: write at: for both, or a feed with its length"
	}
	for _, a := range p.places {
		p.leads = append(p.leads, p.leadsTo(a, tol))
	}
	return p, ""
}

func (s source) name() string {
	if s.feeder != nil {
		return "feeder " + s.feeder.Name
	}
	return "supply " + s.supply.Name
}

// fuseStep is by how much a fuse may be above what its wire may have: fuses come in
// steps, and gauges in AWG and mm² do not meet exactly.
const fuseStep = 1.05

// wireLimits are the biggest fuse that the string's own wire may have ahead of it, and
// the current in a fault that the thickest of it bears.
func (p *problem) wireLimits() (may, bears float64) {
	wires := []config.Wire{p.s.Pitch}
	for _, j := range p.s.Jumpers {
		wires = append(wires, j.Wire)
	}
	may = math.Inf(1)
	for _, w := range wires {
		if amps, _ := budget.AmpacityAt(w, p.hangs()); amps > 0 {
			may, bears = min(may, amps*fuseStep), max(bears, amps*fuseStep*p.holds)
		}
	}
	if bears == 0 {
		bears = math.Inf(1)
	}
	if p.s.ConnectorAmps > 0 {
		bears = min(bears, p.s.ConnectorAmps*p.holds)
	}
	return may, bears
}

// hangs is the temperature where the string is, in degrees Celsius.
func (p *problem) hangs() float64 { return config.Celsius(p.s.Temperature, p.plan.Temperature) }

// A kind is a wire of the list where leads are.
type kind struct {
	config.StockWire
	may  float64 // amperes that it may have as a fuse
	ohms float64 // of a metre of one conductor
}

func (p *problem) kindAt(w config.StockWire, celsius float64) kind {
	k := kind{StockWire: w}
	k.may, _ = budget.AmpacityAt(w.Wire, celsius)
	w.Wire.Metres = 1
	k.ohms = budget.Ohms(w.Wire, celsius)
	return k
}

// leadsTo are the leads that may go to a place, with the fuses that fit each.
func (p *problem) leadsTo(a place, tol side) []lead {
	f := p.feed(a, config.Wire{}, 0)
	last := len(p.white.ohms) - 1
	far := max(p.white.ohms[a.node]-p.white.ohms[0], p.white.ohms[last]-p.white.ohms[a.node])
	far += 2 * budget.FeederOhms(p.plan, p.src.feeder)
	var leads []lead
	for _, kind := range p.kinds {
		w := kind.Wire
		w.Metres = a.metres
		loop := 2 * max(kind.ohms*a.metres, 1e-9)
		l := lead{wire: w, price: kind.Price * a.metres, g: 1 / loop, worstG: 1 / (tol.wire*loop + 2*tol.joints)}
		f.FuseAmps = 0
		if f.Temperature != nil {
			kind = p.kindAt(kind.StockWire, *f.Temperature)
		}
		limit := min(p.may, kind.may*fuseStep)
		if f.ConnectorAmps > 0 {
			limit = min(limit, f.ConnectorAmps)
		}
		sees := p.s.Volts / (far + loop) / p.plan.Protection.ShortFactor
		for _, fuse := range p.list.Fuses {
			if fuse.Amps > limit*(1+1e-9) || fuse.Amps > sees*1.02 { // what is near the edge is judged by its own room
				continue
			}
			l.fuses = append(l.fuses, fuse)
			f.FuseAmps = max(f.FuseAmps, fuse.Amps)
		}
		l.most = p.budget.FuseForLong(p.s, f)
		leads = append(leads, l)
	}
	return leads
}

// feed is a feed at a place.
func (p *problem) feed(a place, w config.Wire, fuse float64) *config.Feed {
	f := &config.Feed{At: a.at, Address: a.address, FuseContinuousShare: p.share(), ConnectorAmps: p.s.ConnectorAmps}
	if a.was != nil {
		f.FuseContinuousShare, f.ConnectorAmps, f.Temperature = a.was.FuseContinuousShare, a.was.ConnectorAmps, a.was.Temperature
	}
	f.Supply, f.Feeder, f.Wire, f.FuseAmps = p.src.supply, p.src.feeder, w, fuse
	return f
}

// share is what of a fuse a new feed of the string uses.
func (p *problem) share() float64 {
	for _, f := range p.s.Feeds {
		if !p.s.Marks.Has("feeds") || !f.Marks.Has("fuse_use") {
			return f.FuseContinuousShare
		}
	}
	return usualFuseUse
}

// usualFuseUse is config's own default; written out where the string has another.
const usualFuseUse = 0.75

// with is the string with other feeds.
func (p *problem) with(feeds []*config.Feed) *config.String {
	s := *p.s
	s.Feeds = feeds
	return &s
}

// fails says what is wrong with feeds; "": nothing.
func (p *problem) fails(feeds []*config.Feed) string {
	if found := p.findings(p.with(feeds), p.beside, false); len(found) > 0 {
		return found[0]
	}
	return ""
}

// A side is how far things are from the plan on the worst side of its tolerance: wire
// and load as multiples, joints in ohms of one conductor of a lead, feeder or jumper.
type side struct{ wire, joints, load float64 }

func worstSide(t config.Tolerance) side {
	return side{wire: 1 + t.Wire, joints: 2 * t.Joint, load: 1 + t.Pixel}
}

// jointed are the ohms of one conductor with the joints of jumpers.
func (t side) jointed(w *budget.Wiring, s *config.String) []float64 {
	ohms := make([]float64, len(w.Ohms))
	for k, sum := range w.Ohms {
		ohms[k] = t.wire * sum
		for _, j := range s.Jumpers {
			if k > w.Node(s.NullPixels+j.After) {
				ohms[k] += t.joints
			}
		}
	}
	return ohms
}
