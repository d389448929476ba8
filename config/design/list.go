package design

import (
	"cmp"
	"math"
	"slices"

	"yardproof/config"
	"yardproof/config/budget"
)

// A List is what leads, fuses and supplies can be had, and what they cost.
type List struct {
	Wire      []config.StockWire
	Fuses     []config.StockFuse
	Supplies  []config.StockSupply
	Connector float64  // for each feed: its connector pair and its fuse holder
	Assumed   []string // what of it the plan does not say
}

// What is taken where the plan's stock lists nothing (common practice, no source): the
// gauges, ratings and sizes that are commonly sold. The prices are no shop's: they only
// put thick wire above thin.
const (
	usualConnector = 2.0
	usualFuse      = 0.5
	wirePerMetre   = 0.30 // and
	wirePerMM2     = 0.35 // for each metre of both conductors
	usualSupply    = 8.0  // and
	supplyPerWatt  = 0.09
)

// ListOf is the stock of a plan, with the standard list in place of what it leaves out.
func ListOf(p *config.Plan) List {
	s := &p.Stock
	l := List{Wire: s.Wire, Fuses: s.Fuses, Supplies: s.Supplies, Connector: s.Connector.Price}
	assume := func(what string) { l.Assumed = append(l.Assumed, what) }
	if len(l.Wire) == 0 {
		assume("wire: 20 to 10 AWG copper")
		for awg := 20; awg >= 10; awg -= 2 {
			w := config.Wire{AWG: awg, HasAWG: true, Metal: config.Copper}
			l.Wire = append(l.Wire, config.StockWire{Wire: w, Price: usualPrice(w)})
		}
	}
	if len(l.Fuses) == 0 {
		assume("fuses: 1, 2, 3, 4, 5, 7.5, 10, 15 and 20 A")
		for _, amps := range []float64{1, 2, 3, 4, 5, 7.5, 10, 15, 20} {
			l.Fuses = append(l.Fuses, config.StockFuse{Amps: amps, Price: usualFuse})
		}
	}
	if len(l.Supplies) == 0 {
		assume("supplies: 100, 200, 350 and 600 W")
		for _, volts := range []float64{5, 12, 24, 36, 48} {
			for _, watts := range []float64{100, 200, 350, 600} {
				l.Supplies = append(l.Supplies, config.StockSupply{Volts: volts, Watts: watts, Price: usualSupply + supplyPerWatt*watts})
			}
		}
	}
	if !s.Marks.Has("connectors") {
		assume("what a connector pair with a fuse holder costs")
		l.Connector = usualConnector
	}
	l.Wire, l.Fuses = slices.Clone(l.Wire), slices.Clone(l.Fuses)
	slices.SortStableFunc(l.Wire, func(a, b config.StockWire) int { return cmp.Compare(a.Price, b.Price) })
	slices.SortStableFunc(l.Fuses, func(a, b config.StockFuse) int {
		return cmp.Or(cmp.Compare(a.Price, b.Price), cmp.Compare(a.Amps, b.Amps))
	})
	return l
}

// usualPrice is the assumed price of a metre.
func usualPrice(w config.Wire) float64 {
	w.Metres = 1
	mm2 := 0.0172 / max(budget.Ohms(w, 20), 1e-6)
	return math.Round(100*(wirePerMetre+wirePerMM2*mm2)) / 100
}

// metre is the price of a metre of a wire, in the list or not.
func (l *List) metre(w config.Wire) float64 {
	for _, s := range l.Wire {
		if sameWire(s.Wire, w) {
			return s.Price
		}
	}
	return usualPrice(w)
}

func (l *List) fuse(amps float64) float64 {
	for _, f := range l.Fuses {
		if f.Amps == amps {
			return f.Price
		}
	}
	return usualFuse
}

// sameWire reports whether two wires differ in their length at most.
func sameWire(a, b config.Wire) bool {
	a.Metres, b.Metres = 0, 0
	return a == b
}

// feedCost is what a feed costs.
func (l *List) feedCost(f *config.Feed) float64 {
	cost := l.Connector
	if f.Wire.Known() {
		cost += f.Wire.Metres * l.metre(f.Wire)
	}
	if f.FuseAmps > 0 {
		cost += l.fuse(f.FuseAmps)
	}
	return cost
}

// feederCost is what a feeder costs.
func (l *List) feederCost(f *config.Feeder) float64 {
	cost := f.Wire.Metres * l.metre(f.Wire)
	if f.FuseAmps > 0 {
		cost += l.fuse(f.FuseAmps)
	}
	return cost
}
