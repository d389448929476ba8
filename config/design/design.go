package design

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
)

// designer is the work on one plan.
type designer struct {
	judge
	ctx    context.Context
	list   List
	budget *budget.Budget
	out    *Proposal

	strings []*config.String // as they are to be, index as in the plan
	because [][]string       // by string: what is wrong today
	wanted  []int            // strings to design

	mu    sync.Mutex
	known map[string]found // by kind of problem
	stage Stage
	done  int
	total int

	rounds int // how often the plan was judged as a whole
}

// New proposes feeds for the strings of a plan without errors that have a finding. It
// ends when ctx does, with the best that it has by then.
func New(ctx context.Context, plan *config.Plan, opts Options) *Proposal {
	d := newDesigner(ctx, plan, opts)
	if end, ok := ctx.Deadline(); ok { // some of it is for judging what was found as a whole
		var cancel context.CancelFunc
		d.ctx, cancel = context.WithTimeout(ctx, time.Until(end)*85/100)
		defer cancel()
	}
	d.find()
	d.total = len(d.wanted)
	d.byFeeders()
	d.direct()
	d.finish()
	return d.out
}

func newDesigner(ctx context.Context, plan *config.Plan, opts Options) *designer {
	if opts.Level <= 0 || opts.Level > 1 {
		opts.Level = 1
	}
	d := &designer{judge: judge{plan: plan, opts: &opts}, ctx: ctx, list: ListOf(plan), budget: budget.New(plan), known: map[string]found{}}
	d.out = &Proposal{Level: opts.Level, LoseOne: opts.LoseOne, Assumed: d.list.Assumed, Strings: []String{}, today: plan}
	d.strings = slices.Clone(plan.Strings)
	return d
}

// find notes what is wrong with each string.
func (d *designer) find() {
	d.because = make([][]string, len(d.strings))
	on := d.besides()
	d.each(len(d.strings), func(i int) {
		s := d.strings[i]
		if d.opts.Only == nil || slices.Contains(d.opts.Only, s.Name) {
			d.because[i] = d.findings(s, on[i], true)
		}
	})
	for i, s := range d.plan.Supplies {
		limit := d.budget.Supplies[i].LimitAmps
		if load := d.load(s, nil); limit > 0 && load > limit*(1+1e-9) {
			for k, str := range d.strings {
				if fedBy(str, s) && d.opts.Only == nil {
					d.because[k] = append(d.because[k], fmt.Sprintf("supply %s has to give %.1f A and may give %.1f A for long", s.Name, load, limit))
				}
			}
		}
	}
	for i, s := range d.strings {
		if len(d.because[i]) > 0 || slices.Contains(d.opts.Only, s.Name) {
			d.wanted = append(d.wanted, i)
		}
	}
}

func fedBy(s *config.String, supply *config.Supply) bool {
	return slices.ContainsFunc(s.Feeds, func(f *config.Feed) bool { return f.Supply == supply })
}

// besides are, by string, those that hang on a feeder with it.
func (d *designer) besides() [][]*config.String {
	on := map[*config.Feeder][]*config.String{}
	for _, s := range d.strings {
		for _, f := range s.Feeds {
			if f.Feeder != nil && !slices.Contains(on[f.Feeder], s) {
				on[f.Feeder] = append(on[f.Feeder], s)
			}
		}
	}
	list := make([][]*config.String, len(d.strings))
	for i, s := range d.strings {
		for _, f := range s.Feeds {
			for _, other := range on[f.Feeder] {
				if f.Feeder != nil && other != s && !slices.Contains(list[i], other) {
					list[i] = append(list[i], other)
				}
			}
		}
	}
	return list
}

// amps are what a string draws at the asked level.
func (d *designer) amps(i int) float64 {
	r := &d.budget.Strings[i]
	return r.IdleAmps + d.opts.Level*(r.FullWhiteAmps-r.IdleAmps)
}

// load is what strings draw from a supply at the asked level, without some.
func (d *designer) load(supply *config.Supply, without []int) float64 {
	sum := 0.0
	for i, s := range d.strings {
		if slices.Contains(without, i) {
			continue
		}
		all, part := 0.0, 0.0
		for j, f := range s.Feeds {
			a := 1.0
			if b := d.budget.Strings[i].Feeds; j < len(b) && b[j].FullWhiteAmps > 0 {
				a = b[j].FullWhiteAmps
			}
			all += a
			if f.Supply == supply {
				part += a
			}
		}
		if part > 0 {
			sum += d.amps(i) * part / all
		}
	}
	return sum
}

// each runs work on all cores.
func (d *designer) each(n int, work func(i int)) {
	budget.OnAllCores(n, func() func(int) { return work })
}

// slice is a string's fair part of the time that is left.
func (d *designer) slice() (context.Context, context.CancelFunc) {
	end, ok := d.ctx.Deadline()
	if !ok {
		return context.WithCancel(d.ctx)
	}
	d.mu.Lock()
	left := max(d.total-d.done, 1)
	d.mu.Unlock()
	cores := min(runtime.GOMAXPROCS(0), left)
	return context.WithTimeout(d.ctx, time.Until(end)*time.Duration(cores)/time.Duration(left)*9/10)
}

func (d *designer) finished() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.done++
	if d.opts.Progress != nil {
		d.opts.Progress(d.stage, min(d.done, d.total), d.total)
	}
}

// solve is problem.solve, once for each kind.
func (d *designer) solve(ctx context.Context, p *problem) found {
	kind := p.kind()
	d.mu.Lock()
	f, ok := d.known[kind]
	d.mu.Unlock()
	if !ok {
		f = p.solve(ctx)
		d.mu.Lock()
		d.known[kind] = f
		d.mu.Unlock()
	}
	return f
}

// kind is the same for problems that differ in nothing that matters.
func (p *problem) kind() string {
	type plain config.Wire
	s, last := p.s, len(p.wiring.White)-1
	text := fmt.Sprint(s.Pixels, s.NullPixels, s.Copies, s.Volts, p.source, p.need, s.Load, s.Chip.Name, p.wiring.White[last], p.wiring.Idle[last],
		plain(s.Pitch), s.ConnectorAmps, config.Celsius(s.Temperature, p.plan.Temperature), p.share(), p.src.supply.Watts, p.src.supply.HiccupAmps, p.src.supply.ContinuousShare)
	for _, j := range s.Jumpers {
		text += fmt.Sprint(" j", j.After, plain(j.Wire))
	}
	for _, a := range p.places {
		text += fmt.Sprint(" p", a.at, a.metres)
		if f := a.was; f != nil {
			text += fmt.Sprint(f.FuseContinuousShare, f.ConnectorAmps, config.Celsius(f.Temperature, -1000))
		}
	}
	if f := p.src.feeder; f != nil {
		text += fmt.Sprint(" f", f.Name, plain(f.Wire), f.FuseAmps)
		for _, o := range p.beside {
			text += " " + o.Name
		}
	}
	return text
}
