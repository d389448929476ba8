package design

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"

	"yardproof/config"
)

// nearSupplies is how many supplies besides today's a string is tried with.
const nearSupplies = 2

// An option is a string fed from one source.
type option struct {
	src   source
	p     *problem
	found found
}

// direct designs the strings that no feeder serves: first each from today's supply and
// the nearest ones, then all together, so that no supply is overloaded.
func (d *designer) direct() {
	var todo []int
	for _, i := range d.wanted {
		if !d.settled(i) {
			todo = append(todo, i)
		}
	}
	options := make([][]option, len(todo))
	refused := make([]string, len(todo))
	d.each(len(todo), func(k int) {
		ctx, cancel := d.slice()
		defer cancel()
		options[k], refused[k] = d.options(ctx, todo[k])
		d.finished()
	})
	d.again(options)
	byVolts := map[float64][]int{} // positions in todo
	for k, i := range todo {
		if len(options[k]) == 0 {
			d.refuse(i, refused[k])
			continue
		}
		byVolts[d.strings[i].Volts] = append(byVolts[d.strings[i].Volts], k)
	}
	for _, volts := range slices.Sorted(maps.Keys(byVolts)) {
		d.assign(todo, options, byVolts[volts])
	}
}

// again uses the time that is left for what was not settled in its first share.
func (d *designer) again(options [][]option) {
	var open []*option
	seen := map[string]bool{}
	for k := range options {
		for x := range options[k] {
			o := &options[k][x]
			if kind := o.p.kind(); o.found.least < o.found.cost-1e-9 && !seen[kind] {
				seen[kind] = true
				open = append(open, o)
			}
		}
	}
	d.mu.Lock()
	d.stage, d.total, d.done = Cheapening, len(open), 0
	d.mu.Unlock()
	d.each(len(open), func(k int) {
		ctx, cancel := d.slice()
		defer cancel()
		f := open[k].p.improve(ctx, open[k].found)
		d.mu.Lock()
		d.known[open[k].p.kind()] = f
		d.mu.Unlock()
		d.finished()
	})
	for k := range options {
		for x := range options[k] {
			if f, ok := d.known[options[k][x].p.kind()]; ok {
				options[k][x].found = f
			}
		}
		slices.SortStableFunc(options[k], func(a, b option) int { return cmp.Compare(a.found.cost, b.found.cost) })
	}
}

func (d *designer) settled(i int) bool {
	name := d.strings[i].Name
	return slices.ContainsFunc(d.out.Strings, func(s String) bool { return s.Name == name }) ||
		slices.ContainsFunc(d.out.Refused, func(r Refusal) bool { return r.Name == name })
}

func (d *designer) refuse(i int, why string) {
	d.out.Refused = append(d.out.Refused, Refusal{d.strings[i].Name, why})
}

// today is the source that a string has now, if all its feeds agree.
func today(s *config.String) (source, bool) {
	f := s.Feeds[0]
	return source{supply: f.Supply, feeder: f.Feeder}, f.Supply != nil
}

// options are the sources that a string can be fed from, the cheapest first; without
// any, the words say why.
func (d *designer) options(ctx context.Context, i int) ([]option, string) {
	s := d.strings[i]
	var sources []source
	now, ok := today(s)
	now.feeder = nil
	if ok && (s.Volts == 0 || now.supply.Volts == s.Volts) {
		sources = append(sources, now)
	}
	var near []*config.Supply
	for _, v := range d.plan.Supplies {
		if _, far := s.Spot.Metres(v.Spot); far && v.Volts == s.Volts && v != now.supply {
			near = append(near, v)
		}
	}
	slices.SortStableFunc(near, func(a, b *config.Supply) int {
		da, _ := s.Spot.Metres(a.Spot)
		db, _ := s.Spot.Metres(b.Spot)
		return cmp.Compare(da, db)
	})
	for _, v := range near[:min(len(near), nearSupplies)] {
		sources = append(sources, source{supply: v})
	}
	fresh := len(sources) == 0 && s.Volts > 0 && len(s.Spot) > 0 // a new supply is needed for want of any
	tried := sources
	if fresh {
		tried = d.newSupplies(s, source{})
	}
	var list []option
	why := fmt.Sprintf("there is no supply of %g V with a place: write at: for the string, or its feed with a length", s.Volts)
	switch {
	case s.Volts == 0:
		why = "its volts are not known: write volts: with what the pixels are made for"
	case fresh && len(tried) == 0:
		why = fmt.Sprintf("the plan has no supply of %g V, and neither has the stock", s.Volts)
	}
	for _, src := range tried {
		if src, ok = d.enough(src, i); !ok {
			why = fmt.Sprintf("it draws %.1f A, more than supply %s may give for long, and the stock has none that gives enough", d.amps(i), src.supply.Name)
			continue
		}
		p, refused := newProblem(&d.judge, &d.list, s, d.budget, i, src, nil, 0)
		if p == nil {
			why = refused
			continue
		}
		f := d.solve(ctx, p)
		if f.set == nil {
			why = p.hopeless(f)
			continue
		}
		list = append(list, option{src, p, f})
	}
	slices.SortStableFunc(list, func(a, b option) int { return cmp.Compare(a.found.cost, b.found.cost) })
	return list, why
}

// enough is a source itself when it may give what a string draws, or the smallest new
// supply beside it that may; false: there is none.
func (d *designer) enough(src source, i int) (source, bool) {
	may := func(s source) bool { return d.limit(s.supply) >= d.amps(i)*(1-1e-9) }
	if may(src) {
		return src, true
	}
	beside := src
	if d.isNew(src.supply) {
		beside = source{}
	}
	list := slices.DeleteFunc(d.newSupplies(d.strings[i], beside), func(s source) bool { return !may(s) })
	if len(list) == 0 {
		return src, false
	}
	return slices.MinFunc(list, func(a, b source) int { return cmp.Compare(a.supply.Watts, b.supply.Watts) }), true
}

// newSupplies are the kinds of supplies in stock that could stand beside a source, or
// where the string begins.
func (d *designer) newSupplies(s *config.String, beside source) []source {
	var list []source
	for _, kind := range d.list.Supplies {
		if kind.Volts != s.Volts {
			continue
		}
		v := &config.Supply{Name: fmt.Sprintf("%gV-%gW", kind.Volts, kind.Watts), Volts: kind.Volts, Watts: kind.Watts, ContinuousShare: 0.8, Spot: s.Spot}
		if beside.supply != nil {
			v.Spot = beside.supply.Spot
		}
		list = append(list, source{supply: v, beside: beside.supply})
	}
	return list
}

// hopeless says why nothing was found.
func (p *problem) hopeless(f found) string {
	if f.cut {
		return "time ran out before anything was found that holds: give --seconds more, or feed_points"
	}
	low, ok := p.search(context.Background(), found{}).highest()
	switch {
	case !ok:
		return fmt.Sprintf("from %s no lead of any wire has a fuse that protects it and opens in a fault: its wire may have a fuse of %.3g A at most", p.src.name(), p.may/fuseStep)
	case low < p.need-1e-9:
		return fmt.Sprintf("from %s no pixel can be kept at %.4g V: even with the thickest wire to every place one has %.2f V", p.src.name(), p.need, max(low, 0))
	}
	return fmt.Sprintf("from %s up to %d feeds were tried, and each way leaves a finding: its wire may have a fuse of %.3g A at most; thicker pitch or V+ cut between feeds would help", p.src.name(), min(mostFeeds, len(p.places)), p.may/fuseStep)
}
