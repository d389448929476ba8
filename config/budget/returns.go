package budget

import (
	"cmp"
	"math"
	"slices"

	"yardproof/config"
)

// A Return is a return that carries more than it bears at full white of every string while
// another return is open. Nothing ends that: no fuse is in a return, and those of V+ carry
// what they always do.
type Return struct {
	String, Feeder int     // what it is of, by index in the plan; one of them is -1
	Place          string  // on the string
	Amps           float64 //
	MayAmps        float64 // the biggest fuse that its wire may have; 0: not known
	ConnectorAmps  float64 // what its connectors may carry; 0: not known
	Open           string  // whose return is open
	AWG            int     // copper that would bear it, for a feeder; 0: none was found

	over float64 // how far it is past what it bears
}

// returns gathers the worst of each return of a group.
type returns struct {
	b    *Budget
	g    *group
	gc   *groupCap
	list []Return
	open []func() (whole func()) // opens again what is open in each

	may  []float64        // by feeder: what its wire bears
	most []float64        // by feeder: the most that it carries so far
	nth  map[ofReturn]int // in the list
}

// ofReturn is what a [Return] is of.
type ofReturn struct {
	String, Feeder int
	Place          string
}

func (x *Return) of() ofReturn { return ofReturn{x.String, x.Feeder, x.Place} }

// Gauges and fuses come in steps, and gauges in AWG and mm² do not meet exactly.
const returnStep = 1.05

// bears is how far amperes are past what a wire and its connectors bear; at 1 they still do.
func (b *Budget) bears(amps, may, connector float64) float64 {
	over := 0.0
	amps = math.Abs(amps)
	if may > 0 {
		over = amps / (may * b.plan.Protection.FuseHolds * returnStep)
	}
	if connector > 0 {
		over = max(over, amps/(connector*b.plan.Protection.FuseHolds))
	}
	return over
}

// feeders looks at the feeders' returns as solved last.
func (r *returns) feeders(what string, open func() func()) {
	for k, f := range r.g.feeders {
		if len(r.may) == k { // many are looked at again and again
			may := MayCarry(f.Wire, config.Celsius(f.Temperature, r.b.plan.Temperature))
			r.may, r.most = append(r.may, may), append(r.most, 0)
		}
		amps := math.Abs(r.g.returnAmps(k))
		if amps <= r.most[k] {
			continue
		}
		r.most[k] = amps
		r.add(Return{String: -1, Feeder: r.b.feeder[f], Open: what, Amps: amps, MayAmps: r.may[k], ConnectorAmps: f.ConnectorAmps}, open)
	}
}

// strings looks at the strings' leads, pitch and jumpers as solved last.
func (r *returns) strings(what string, open func() func()) {
	for i, l := range r.g.ladders {
		s, n := l.s, r.gc.strings[i]
		hangs := config.Celsius(s.Temperature, r.b.plan.Temperature)
		for _, t := range l.terms {
			if f := s.Feeds[t.feed]; l.returns(t) {
				may := MayCarry(f.Wire, r.b.feedCelsius(s, f))
				r.add(Return{String: n, Feeder: -1, Place: "lead at " + f.At, Open: what, Amps: r.g.termAmps(l, t), MayAmps: may, ConnectorAmps: f.ConnectorAmps}, open)
			}
		}
		most := 0.0
		for k := 1; k < l.nodes; k++ { // the return is the last of its rails
			most = max(most, math.Abs(l.wire[k]*(l.x[k*l.rails-1]-l.x[(k+1)*l.rails-1])))
		}
		wires := []config.Wire{s.Pitch}
		for _, j := range s.Jumpers {
			wires = append(wires, j.Wire)
		}
		thin := slices.MinFunc(wires, func(a, b config.Wire) int {
			x, _ := Ampacity(a)
			y, _ := Ampacity(b)
			return int(1e6 * (x - y))
		})
		may := MayCarry(thin, hangs)
		r.add(Return{String: n, Feeder: -1, Place: "pitch", Open: what, Amps: most, MayAmps: may, ConnectorAmps: s.ConnectorAmps}, open)
	}
}

func (r *returns) add(x Return, open func() func()) {
	x.Amps = math.Abs(x.Amps)
	if x.over = r.b.bears(x.Amps, x.MayAmps, x.ConnectorAmps); x.over <= 1 {
		return
	}
	n, known := r.nth[x.of()]
	switch {
	case !known:
		if r.nth == nil {
			r.nth = map[ofReturn]int{}
		}
		r.nth[x.of()] = len(r.list)
		r.list, r.open = append(r.list, x), append(r.open, open)
	case x.over > r.list[n].over*(1+1e-9):
		r.list[n], r.open[n] = x, open
	}
}

// returnAmps is what flows in a feeder's return; with constant currents that of the one
// rail that stands for both is that of either.
func (g *group) returnAmps(k int) float64 { return g.feederAmps((k+1)*g.rails - 1) }

// returnsElsewhere reports whether a string on a feeder has another return.
func (g *group) returnsElsewhere(j int) bool {
	on := func(t term) bool { return t.feeder == (j+1)*g.rails-1 }
	return slices.ContainsFunc(g.ladders, func(l *ladder) bool {
		return slices.ContainsFunc(l.terms, on) && slices.ContainsFunc(l.terms, func(t term) bool { return !on(t) && l.returns(t) })
	})
}

// returns reports whether a term is on the return, or on the one rail that stands for both.
func (l *ladder) returns(t term) bool { return l.rails == 1 || !l.positive(t) }

// openReturn opens the return of a feeder alone where it leaves its supply.
func (g *group) openReturn(j int) (whole func()) {
	u := (j+1)*g.rails - 1
	conductance := g.g[u]
	g.g[u] = 0
	return func() { g.g[u], g.broken = conductance, true }
}

// openReturn opens the return of a feed alone.
func (l *ladder) openReturn(feed int) (whole func()) {
	set := func(lost bool) {
		for i := range l.terms {
			if t := &l.terms[i]; t.feed == feed && l.returns(*t) {
				t.lost = lost
			}
		}
		l.pieces()
	}
	set(true)
	return func() { set(false) }
}

// record keeps what was found, in the plan's order.
func (r *returns) record() {
	slices.SortStableFunc(r.list, func(a, b Return) int { return cmp.Or(cmp.Compare(a.Feeder, b.Feeder), cmp.Compare(a.String, b.String)) })
	r.gc.returns = r.list
}

// Gauges are looked for this many feeders of a group.
const mostGauges = 20

// gauges finds the copper that would bear it, by working the group out with it.
func (r *returns) gauges(m mode) {
	left := mostGauges
	for n := 0; n < len(r.list) && left > 0; n++ {
		if x := &r.list[n]; x.Feeder >= 0 {
			x.AWG = r.gauge(*x, r.open[n], m)
			left--
		}
	}
}

func (r *returns) gauge(x Return, open func() func(), m mode) int {
	if r.b.bears(x.Amps, x.MayAmps, 0) <= 1 { // it is its connectors
		return 0
	}
	g, f := r.g, r.b.plan.Feeders[x.Feeder]
	from := g.index[f] * g.rails
	celsius, w := config.Celsius(f.Temperature, r.b.plan.Temperature), f.Wire
	before := slices.Clone(g.g[from : from+g.rails])
	defer copy(g.g[from:], before)
	for w.AWG = 20; w.AWG >= 6; w.AWG -= 2 {
		w.HasAWG, w.MM2, w.Milliohms, w.Metal = true, 0, 0, config.Copper
		if may := MayCarry(w, celsius); wireArea(w) <= wireArea(f.Wire) || r.b.bears(x.Amps, may, 0) > 1 {
			continue
		}
		for u := range before {
			g.g[from+u] = before[u] * Ohms(f.Wire, celsius) / Ohms(w, celsius)
		}
		if r.bearsWith(x, w, open, m) {
			return w.AWG
		}
	}
	return 0
}

// bearsWith reports whether a feeder bears what it carries, now that it is of another wire, and
// nothing else is worse off.
func (r *returns) bearsWith(x Return, w config.Wire, open func() func(), m mode) bool {
	g, b, f := r.g, r.b, r.b.plan.Feeders[x.Feeder]
	if !g.solve(g.ladders, fullWhite, m) {
		return false
	}
	fuse := math.Abs(g.feederAmps(g.index[f] * g.rails))
	whole := open()
	defer whole()
	if f.FuseAmps > 0 && fuse > max(b.FeederForLong(f), math.Abs(b.Feeders[x.Feeder].FullWhiteAmps)) || !g.solve(g.ladders, fullWhite, m) {
		return false
	}
	may := MayCarry(w, config.Celsius(f.Temperature, b.plan.Temperature))
	also := returns{b: b, g: g, gc: r.gc}
	also.feeders("", nil)
	also.strings("", nil)
	return b.bears(g.returnAmps(g.index[f]), may, 0) <= 1 &&
		!slices.ContainsFunc(also.list, func(o Return) bool { return o.Feeder != x.Feeder && o.over > r.known(o)*(1+1e-9) })
}

// known is how far a return is past what it bears as the plan is.
func (r *returns) known(x Return) float64 {
	if n, ok := r.nth[x.of()]; ok {
		return r.list[n].over
	}
	return 1
}
