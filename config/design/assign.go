package design

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardproof/config"
)

// An assignment gives each string one of its options, so that no supply has to give
// more than it may for long.
type assignment struct {
	d       *designer
	strings []int      // by falling load
	options [][]option // by string
	amps    []float64

	sources []*slot
	choice  [][]int // by string: the slot of each option; its new supplies follow
	stays   []*slot // by string: of its supply of today; nil: it has none here

	best, floor   float64
	taken, answer []int     // option by string; left: it stays as it is
	rest          []float64 // the least that the strings from here on cost
	steps         int
}

// A slot is a supply, or room for a new one.
type slot struct {
	supply *config.Supply
	left   float64 // amperes
	price  float64 // of a new one
	used   int     // strings
	twin   int     // the slot that has to be in use before this one; -1: none
}

// left stands for no option, and what it costs: any string more that is fed is worth it.
const (
	left     = -1
	leftCost = 1e9
)

// mostSteps ends the search for an assignment; what is known by then holds.
const mostSteps = 400_000

// assign settles strings of the same volts. Todo are indices of strings, options their
// options, group positions in both.
func (d *designer) assign(todo []int, options [][]option, group []int) {
	a := &assignment{d: d, best: math.Inf(1)}
	slices.SortStableFunc(group, func(x, y int) int { return cmp.Compare(d.amps(todo[y]), d.amps(todo[x])) })
	var moving []int
	for _, k := range group {
		moving = append(moving, todo[k])
	}
	index := map[string]int{}
	at := func(v *config.Supply, price float64, name string, twin int) int {
		if i, ok := index[name]; ok {
			return i
		}
		s := &slot{supply: v, left: d.limit(v), price: price, twin: twin}
		if price == 0 {
			s.left -= d.load(v, moving)
		}
		index[name] = len(a.sources)
		a.sources = append(a.sources, s)
		return index[name]
	}
	for _, k := range group {
		i := todo[k]
		var list []option
		var slots []int
		for _, o := range options[k] {
			if !d.isNew(o.src.supply) {
				list, slots = append(list, o), append(slots, at(o.src.supply, 0, o.src.supply.Name, -1))
			}
		}
		// A new supply of each kind, beside each of those that serve it, twice.
		for _, o := range options[k] {
			for _, kind := range d.newSupplies(d.strings[i], source{supply: o.src.supply}) {
				where := fmt.Sprint(o.src.supply.Spot)
				if !d.isNew(o.src.supply) {
					where = o.src.supply.Name
				}
				with, ok := o.from(kind, d, i)
				if !ok {
					continue
				}
				twin := -1
				for n := range 2 {
					another := *with.src.supply // two that were one would be loaded as two
					twin = at(&another, d.price(kind.supply), fmt.Sprint("new ", kind.supply.Name, where, n), twin)
					with.src.supply = a.sources[twin].supply
					list, slots = append(list, with), append(slots, twin)
				}
			}
		}
		a.strings, a.options, a.choice = append(a.strings, i), append(a.options, list), append(a.choice, slots)
		a.amps, a.stays = append(a.amps, d.amps(i)), append(a.stays, nil)
		if now, ok := today(d.strings[i]); ok {
			if at, ok := index[now.supply.Name]; ok {
				a.stays[len(a.stays)-1] = a.sources[at]
			}
		}
	}
	a.solve()
	d.take(a)
}

func (d *designer) isNew(v *config.Supply) bool { return !slices.Contains(d.plan.Supplies, v) }

// price is what a supply costs that is to be bought.
func (d *designer) price(v *config.Supply) float64 {
	for _, s := range d.list.Supplies {
		if s.Volts == v.Volts && s.Watts == v.Watts {
			return s.Price + 1e-6 // more than nothing: it is one more thing
		}
	}
	return 0
}

// from is an option with a new supply of a kind beside its own, judged anew.
func (o option) from(kind source, d *designer, i int) (option, bool) {
	with := o
	with.src = kind
	if d.isNew(o.src.supply) {
		with.src.beside = nil
	}
	v := *kind.supply
	v.Spot = o.src.spot()
	with.src.supply = &v
	if with.src.supply.Watts == o.src.supply.Watts && d.isNew(o.src.supply) {
		return with, true
	}
	p := *o.p
	p.src = with.src
	with.p = &p
	if kind.supply.Watts >= o.src.supply.Watts && o.src.supply.HiccupAmps == 0 { // what holds with less holds with more
		return with, true
	}
	if d.limit(kind.supply) < d.amps(i)*(1-1e-9) {
		return with, false
	}
	return with, p.fails(p.feeds(o.found.set, o.found.leads, o.found.fuses)) == ""
}

func (a *assignment) solve() {
	n := len(a.strings)
	a.rest = make([]float64, n+1)
	for k := n - 1; k >= 0; k-- {
		least := math.Inf(1)
		for _, o := range a.options[k] {
			least = min(least, o.found.cost)
		}
		a.rest[k] = a.rest[k+1] + least
	}
	a.taken = make([]int, n)
	a.place(0, 0)
	a.floor = a.best
	if a.steps >= mostSteps {
		a.floor = a.rest[0]
	}
	for k, x := range a.answer {
		switch {
		case x == left && a.steps < mostSteps:
			a.floor -= leftCost
		case x == left:
			a.floor -= a.rest[k] - a.rest[k+1]
		}
	}
}

func (a *assignment) place(k int, cost float64) {
	if cost+a.rest[k] >= a.best-1e-9 || a.steps >= mostSteps {
		return
	}
	a.steps++
	if k == len(a.strings) {
		a.best, a.answer = cost, slices.Clone(a.taken)
		return
	}
	for x, o := range a.options[k] {
		s := a.sources[a.choice[k][x]]
		if s.left < a.amps[k]*(1-1e-9) || s.twin >= 0 && a.sources[s.twin].used == 0 {
			continue
		}
		more := o.found.cost
		if s.used == 0 {
			more += s.price
		}
		s.used++
		s.left -= a.amps[k]
		a.taken[k] = x
		a.place(k+1, cost+more)
		s.used--
		s.left += a.amps[k]
	}
	a.taken[k] = left
	if s := a.stays[k]; s != nil {
		s.left -= a.amps[k]
		defer func() { s.left += a.amps[k] }()
	}
	a.place(k+1, cost+leftCost)
}

// take writes the answer down.
func (d *designer) take(a *assignment) {
	named := map[*config.Supply]bool{}
	least := a.floor
	for k, i := range a.strings {
		if a.answer[k] == left {
			d.refuse(i, "no supply has room for it, and none in stock would give enough")
			continue
		}
		o := a.options[k][a.answer[k]]
		v := o.src.supply
		if d.isNew(v) && !named[v] {
			named[v] = true
			where := "where string " + d.strings[i].Name + " begins"
			if o.src.beside != nil {
				where = "beside supply " + o.src.beside.Name
			}
			price := d.price(v)
			v.Name = d.freeName(fmt.Sprintf("new-%gv", v.Volts))
			d.out.Supplies = append(d.out.Supplies, Supply{Name: v.Name, Volts: v.Volts, Watts: v.Watts, Where: where, Price: math.Round(price*100) / 100, supply: v})
		}
		d.settle(i, o)
		least += o.found.least - o.found.cost
	}
	d.out.Cost.Least += least
}

// freeName is a name that no supply has.
func (d *designer) freeName(base string) string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s-%d", base, n)
		taken := slices.ContainsFunc(d.plan.Supplies, func(s *config.Supply) bool { return s.Name == name }) ||
			slices.ContainsFunc(d.out.Supplies, func(s Supply) bool { return s.Name == name })
		if !taken {
			return name
		}
	}
}

// settle takes an option for a string.
func (d *designer) settle(i int, o option) {
	s := o.p.with(o.p.feeds(o.found.set, o.found.leads, o.found.fuses))
	for _, f := range s.Feeds {
		f.Supply = o.src.supply
	}
	d.out.Strings = append(d.out.Strings, String{Name: s.Name, index: i, feeds: s.Feeds, Places: o.found.places, problem: o.p,
		Cost: Cost{Proposed: o.found.cost, Least: o.found.least}})
	d.strings[i] = s
}
