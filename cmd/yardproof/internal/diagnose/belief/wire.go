package belief

import (
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// wire is one string as a ladder, so small that hundreds of faults are solved in a
// moment. Only what a fault changes is taken from it; what a sound string reads is
// the budget's.
type wire struct {
	volts      float64
	ohms       []float64 // ahead of each node, one conductor; [0] is not used
	feeds      []int     // nodes
	leads      []float64
	load, idle []float64 // amperes of each node while meters are read, and dark
	node       []int     // of each lit pixel, [0] is pixel 1
	lowest     float64   // volts where colours fade
	zero       float64   // and where nothing is left
	least      float64   // and below which a pixel hands nothing on
	faint      float64   // current of the low level of looks, as a share of load
	dim        float64   // current at one twentieth

	siemens []float64 // of ohms
	work    scratch

	sound, soundDark *electric // as the ladder has it
	plan, planDark   budget.Expectation
}

// scratch is what every solution needs and none keeps.
type scratch struct {
	load, follow, rest, before, plus, minus []float64
	diag, upper, link                       []float64
}

// electric is what a string's meters see.
type electric struct {
	volts          []float64 // by lit pixel
	feeds, returns []float64 // amperes, by feed
}

// change is what a fault does to the ladder. Its zero value is a sound string.
type change struct {
	node   int     // ahead of it are these ohms more; 0: nowhere
	ohms   float64 // infinite: it is broken
	minus  bool    // in the return
	feed   int     // from 1, whose lead is changed; 0: none
	lead   float64 // ohms more; infinite: open
	opened uint64  // feeds whose V+ is open, a bit each
	thin   float64 // times the resistance; 0: as planned
	lost   float64 // share of the supply's volts
	pulls  float64 // times the current; 0: as planned
	ends   int     // data reaches nodes up to this one; 0: all
	leaks  float64 // amperes more at the node
	unlit  bool
	lit    block
}

const faintLevel, dimLevel = 0.3, 0.05

func newWire(s *Subject) *wire {
	b := s.Budget
	if b == nil || s.String.Volts <= 0 {
		return nil
	}
	g, ok := b.Wiring(s.String.Index)
	if !ok || len(g.Cuts) > 0 {
		return nil
	}
	w := &wire{volts: s.String.Volts, feeds: g.Feeds, idle: g.Idle}
	dark, ok1 := light.Expected(b, s.String, light.Lit{Pattern: patterns.Dark}, 0)
	white, ok2 := light.Expected(b, s.String, s.Lit, 0)
	if !ok1 || !ok2 || white.Amps <= dark.Amps {
		return nil
	}
	w.plan, w.planDark = white, dark
	full, idle := 0.0, 0.0
	w.ohms = make([]float64, len(g.Ohms))
	for k := range g.Ohms {
		full, idle = full+g.White[k], idle+g.Idle[k]
		if k > 0 {
			w.ohms[k] = max(g.Ohms[k]-g.Ohms[k-1], 1e-6)
		}
		if p := g.Pixel(k); p > len(w.node) {
			w.node = append(w.node, k)
		}
	}
	duty := min(1, (white.Amps-idle)/max(full-idle, 1e-9))
	w.load = make([]float64, len(g.Ohms))
	for k := range w.load {
		w.load[k] = g.Idle[k] + duty*(g.White[k]-g.Idle[k])
	}
	at := func(level float64) float64 {
		return min(1, s.String.Brightness*math.Pow(level, s.String.Gamma)/max(duty, 1e-9))
	}
	w.faint, w.dim = at(faintLevel), at(dimLevel)
	for _, f := range s.String.Feeds {
		own := config.Celsius(f.Temperature, config.Celsius(s.String.Temperature, s.Plan.Temperature))
		ohms := budget.Ohms(f.Wire, own)
		if f.Feeder != nil {
			ohms += budget.Ohms(f.Feeder.Wire, config.Celsius(f.Feeder.Temperature, s.Plan.Temperature))
		}
		w.leads = append(w.leads, max(ohms, 1e-5))
	}
	chip := b.Strings[s.String.Index].Chip
	for _, f := range chip.Fade {
		if w.volts > 0.8*f.Volts && w.volts < 1.2*f.Volts {
			w.lowest, w.zero = f.LowestVolts, f.ZeroVolts
		}
	}
	if w.lowest == 0 {
		w.lowest = 0.85 * w.volts // common practice, no source
	}
	if w.zero <= 0 || w.zero >= w.lowest {
		w.zero = 0.75 * w.lowest
	}
	w.least = 0.45 * w.volts // common practice, no source
	if w.volts < 7 {
		w.least = 0.65 * w.volts
	}
	n := len(w.ohms)
	w.siemens = make([]float64, n)
	for k := 1; k < n; k++ {
		w.siemens[k] = 1 / w.ohms[k]
	}
	for _, part := range []*[]float64{&w.work.load, &w.work.follow, &w.work.rest, &w.work.before, &w.work.plus, &w.work.minus, &w.work.diag, &w.work.upper, &w.work.link} {
		*part = make([]float64, n)
	}
	w.sound, w.soundDark = w.solve(change{}), w.solve(change{unlit: true})
	return w
}

// solve works out volts and currents of a changed string. Currents are constant but for
// the fading of pixels without volts, and that takes volts off the wire again: it is
// brought to rest by Aitken's relaxation, since plain passes swing to and fro.
func (w *wire) solve(c change) *electric {
	n := len(w.ohms)
	e := &electric{volts: make([]float64, len(w.node)), feeds: make([]float64, len(w.feeds)), returns: make([]float64, len(w.feeds))}
	load, follow, rest, before, plus, minus := w.work.load, w.work.follow, w.work.rest, w.work.before, w.work.plus, w.work.minus
	for k := range follow {
		follow[k], rest[k], before[k] = 1, 0, 0
	}
	supply := w.volts * (1 - c.lost)
	ends := n
	if c.ends > 0 {
		ends = c.ends + 1
	}
	from, to := 0, n
	if c.lit.first > 0 {
		from, to = w.node[c.lit.first-1], w.node[c.lit.last-1]
	}
	relax := 0.5
	for pass := range 12 {
		for k := range load {
			add := w.load[k] - w.idle[k]
			if c.pulls > 0 {
				add *= c.pulls
			}
			if c.unlit || k >= ends || k < from || k > to {
				add = 0
			}
			load[k] = w.idle[k] + add*follow[k]
		}
		if c.leaks > 0 {
			load[c.node] += c.leaks
		}
		w.rail(plus, load, c, false, e.feeds)
		w.rail(minus, load, c, true, e.returns)
		off, along, turned := 0.0, 0.0, 0.0
		for k := range follow {
			v := supply - plus[k] - minus[k]
			rest[k] = min(1, max(0, (v-w.zero)/(w.lowest-w.zero))) - follow[k]
			off = max(off, math.Abs(rest[k]))
			d := rest[k] - before[k]
			along, turned = along+before[k]*d, turned+d*d
		}
		if off < 0.01 {
			dark := slices.IndexFunc(w.node, func(k int) bool { return k > 0 && k < ends && w.idle[k] > 0 && supply-plus[k]-minus[k] < w.least })
			if dark < 0 {
				break
			}
			ends = w.node[dark]
			continue
		}
		if pass > 0 && turned > 0 {
			relax = min(1, max(0.05, -relax*along/turned))
		}
		for k := range follow {
			follow[k] += relax * rest[k]
		}
		rest, before = before, rest
	}
	for i, k := range w.node {
		e.volts[i] = max(0, supply-plus[k]-minus[k])
	}
	return e
}

// rail solves one conductor: drop gets the volts lost in it. Where a part of it hangs on
// no feed, the load is nothing and all volts are lost.
func (w *wire) rail(drop, load []float64, c change, minus bool, feeds []float64) {
	diag, upper, link, n := w.work.diag, w.work.upper, w.work.link, len(w.ohms)
	broken := 0
	copy(link, w.siemens) // between k-1 and k
	if c.thin > 0 {
		for k := range link {
			link[k] /= c.thin
		}
	}
	if c.node > 0 && c.minus == minus {
		link[c.node] = 1 / (1/link[c.node] + c.ohms)
	}
	lead := func(i int) float64 {
		if c.opened>>i&1 == 1 && !minus {
			return 0
		}
		if i+1 == c.feed && !minus {
			return 1 / (w.leads[i] + c.lead)
		}
		return 1 / w.leads[i]
	}
	if c.node > 0 && c.minus == minus && math.IsInf(c.ohms, 1) {
		broken = c.node
	}
	behind := func(k int) bool { return broken > 0 && k >= broken }
	var fedAhead, fedBehind bool
	fed := func(k int) bool { return behind(k) && fedBehind || !behind(k) && fedAhead }
	clear(diag)
	for i, k := range w.feeds {
		g := lead(i)
		diag[k] += g
		fedAhead = fedAhead || g > 0 && !behind(k)
		fedBehind = fedBehind || g > 0 && behind(k)
	}
	for k := range n {
		drop[k] = load[k]
		if !fed(k) {
			drop[k] = 0
		}
		diag[k] += 1e-9
		if k > 0 {
			diag[k] += link[k]
			diag[k-1] += link[k]
		}
	}
	for k := 1; k < n; k++ { // Thomas's elimination
		f := link[k] / diag[k-1]
		upper[k-1] = f
		diag[k] -= f * link[k]
		drop[k] += f * drop[k-1]
	}
	for k := n - 1; k >= 0; k-- {
		drop[k] /= diag[k]
		if k+1 < n {
			drop[k] += upper[k] * drop[k+1]
		}
	}
	for i, k := range w.feeds {
		if feeds != nil {
			feeds[i] = drop[k] * lead(i)
		}
	}
	for k := range drop {
		if !fed(k) {
			drop[k] = w.volts
		}
	}
}

// lightOf says how a string looks with these volts: the sign that is likeliest, and
// the last good pixel.
func (w *wire) lightOf(e *electric) (Sign, int) {
	first, last, dark := 0, 0, 0
	for i, v := range e.volts {
		switch {
		case v < w.least:
			if dark == 0 {
				dark = i + 1
			}
		case (v-w.zero)/(w.lowest-w.zero) < 0.65 && dark == 0:
			if first == 0 {
				first = i + 1
			}
			last = i + 1
		}
	}
	switch n := len(e.volts); {
	case dark == 1:
		return AllDark, 0
	case dark > 0 && first == 0:
		return DarkTail, dark - 1
	case dark > 0:
		return DarkTail, first - 1
	case first == 0:
		return Fine, 0
	case first == 1 && last == n:
		return Dim, 0
	case first == 1:
		return Dim, 0
	default:
		return DimTail, first - 1
	}
}
