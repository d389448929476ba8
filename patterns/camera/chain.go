package camera

import (
	"math"
	"slices"

	"yardproof/patterns"
)

// chain is the lights as runs of pixels: neighbours of one string have addresses
// that follow each other, and lie beside each other. A light alone may be one slot
// off, since a missing die or a neighbour's glare leaves two slots of three; its
// neighbours know better.
type chain struct {
	d     *decoder
	all   []Light
	taken []bool
	order []int     // taken ones by address
	pitch []float64 // of each of all, image pixels; 0: not known
}

const (
	chainReach = 10  // pixels along a string that know better
	weakFit    = .25 // of a light whose address its neighbours foretell
	weakMargin = 120 // of a light that neighbours must have the slots of: in rendered films right ones
	weakSame   = 2   // had 9 such neighbours at least, and wrong ones, with margins up to 87, none
	sameLight  = .2  // of the way to the next address: nearer ones are one light; of four copies the next is at .25
)

// join decides which lights count.
func (c *chain) join() {
	c.taken, c.pitch = make([]bool, len(c.all)), make([]float64, len(c.all))
	for i, l := range c.all {
		c.taken[i] = l.First >= 0 && l.Margin > Sure
	}
	c.sort()
	c.settle()
	c.sort()
	c.alone()
	c.echoes()
	for range 3 {
		if !c.recover() {
			break
		}
		c.echoes()
	}
}

// sort puts what is taken in the order of addresses, and finds the pitch of each.
func (c *chain) sort() {
	c.order = c.order[:0]
	for i, t := range c.taken {
		if t && !c.all[i].Echo {
			c.order = append(c.order, i)
		}
	}
	slices.SortFunc(c.order, func(i, j int) int { return c.all[i].First - c.all[j].First })
	steps := make([]float64, len(c.order)) // to the next one, for a pixel
	for k := 0; k+1 < len(c.order); k++ {
		p, q := c.all[c.order[k]], c.all[c.order[k+1]]
		if n := math.Round(float64(q.First-p.First) / float64(p.Slots)); n >= 1 && n <= 4 {
			steps[k] = math.Hypot(p.X-q.X, p.Y-q.Y) / n
		}
	}
	for k, i := range c.order {
		var near []float64
		for j := max(0, k-chainReach); j < min(len(steps), k+chainReach); j++ {
			if steps[j] > 0 {
				near = append(near, steps[j])
			}
		}
		if slices.Sort(near); len(near) > 0 {
			c.pitch[i] = near[len(near)/2]
		}
	}
}

// around calls do for the taken lights of one universe that lie where light order[k]'s
// neighbours should, with how many pixels they are away.
func (c *chain) around(k int, do func(j int, pixels float64)) {
	i := c.order[k]
	l := c.all[i]
	try := func(m int) bool {
		j := c.order[m]
		o := c.all[j]
		n := math.Abs(float64(o.First-l.First)) / float64(l.Slots)
		if n > chainReach+.5 {
			return false
		}
		if n >= .5 && math.Hypot(l.X-o.X, l.Y-o.Y) <= (n+1)*1.6*c.pitch[i] {
			do(j, n)
		}
		return true
	}
	for m := k - 1; m >= 0 && try(m); m-- {
	}
	for m := k + 1; m < len(c.order) && try(m); m++ {
	}
}

// universe is the place of an address's universe among those sent.
func universe(address int) int { return address / patterns.CodeUniverse }

// settle takes the place of a light's slots in the pixel from its neighbours.
func (c *chain) settle() {
	changed := map[int]Light{}
	for k, i := range c.order {
		l := c.all[i]
		votes, n := [5]float64{}, 0 // for steps of -2 to 2 slots
		c.around(k, func(j int, _ float64) {
			o := c.all[j]
			if o.Slots != l.Slots {
				return
			}
			n++
			for step := range votes {
				a := l.First + step - 2
				if universe(a) >= universe(l.First) && universe(a) == universe(o.First) && (a-o.First)%l.Slots == 0 {
					votes[step] += o.Fit
				}
			}
		})
		best := Light{}
		most := slices.Max(votes[:])
		if n < 3 || most < 2*votes[2] || votes[2] == most {
			continue
		}
		for step, v := range votes {
			if a := l.First + step - 2; v == most {
				if f := c.d.fit(i, a, l.Slots); f.Fit > best.Fit {
					best = f
				}
			}
		}
		if best.Fit > max(weakFit, l.Fit-.3) {
			best.Margin, best.Chained = l.Margin, true
			changed[i] = best
		} else {
			c.taken[i] = false // what it shows and what its neighbours say differ
		}
	}
	for i, l := range changed {
		c.all[i] = l
	}
}

// alone gives up lights that no neighbour agrees with: what is read wrong, but for the
// slot, is read anywhere. Weak ones must have neighbours of the same slots: a lamp that
// flickers may blink nearly like an address.
func (c *chain) alone() {
	var lost []int
	for k, i := range c.order {
		l, n, same := c.all[i], 0, 0
		c.around(k, func(j int, _ float64) {
			o := c.all[j]
			if n++; (o.First-l.First)%l.Slots == 0 || universe(o.First) != universe(l.First) {
				same++ // slots may be counted afresh in the next universe
			}
		})
		if n == 0 || l.Margin < weakMargin && same < weakSame {
			lost = append(lost, i)
		}
	}
	for _, i := range lost {
		c.taken[i] = false
	}
}

// shines reports whether a place is as bright while all is dark: it shines by itself,
// and blinks no more than its neighbours light it.
func (c *chain) shines(i int) bool { return c.d.rest[i].dark > .5*c.d.rest[i].mean }

// echoes tells the brightest light of an address from others. What shines and answers the
// address of another is stuck beside it, and no light of that address.
func (c *chain) echoes() {
	best := map[int]int{}
	for i, t := range c.taken {
		if !t {
			continue
		}
		j, known := best[c.all[i].First]
		if !known || c.all[i].power() > c.all[j].power() {
			best[c.all[i].First] = i
		}
	}
	for i, t := range c.taken {
		c.all[i].Echo = t && best[c.all[i].First] != i
		if c.all[i].Echo && c.shines(i) {
			c.taken[i], c.all[i].Echo = false, false
		}
	}
	c.sort()
	for i, l := range c.all {
		if !l.Echo {
			continue
		}
		b := best[l.First]
		c.pitch[i] = c.pitch[b]
		if math.Hypot(l.X-c.all[b].X, l.Y-c.all[b].Y) < sameLight*c.pitch[b] {
			c.taken[i], c.all[i].Echo = false, false // a large light has more than one top
		}
	}
}

// recover looks for weak lights where two neighbours foretell a place and an address
// that nobody has, and reports whether it found one.
func (c *chain) recover() bool {
	at := NewGrid(c.all)
	has := map[int]bool{}
	for _, i := range c.order {
		has[c.all[i].First] = true
	}
	found := false
	try := func(address, slots int, x, y, pitch float64) {
		if has[address] || pitch == 0 {
			return
		}
		best, where := Light{}, -1
		for _, i := range at.Within(x, y, .45*pitch) {
			if c.taken[i] && !c.all[i].Echo {
				continue
			}
			if c.shines(i) {
				continue
			}
			if f := c.d.fit(i, address, slots); f.Fit > best.Fit {
				best, where = f, i
			}
		}
		if where >= 0 && best.Fit > weakFit {
			best.Chained, best.Margin = true, ratio(best.Fit, 0)
			c.all[where], c.taken[where], has[address], found = best, true, true, true
		}
	}
	for k := 0; k+1 < len(c.order); k++ {
		p, q := c.all[c.order[k]], c.all[c.order[k+1]]
		n := (q.First - p.First) / p.Slots
		pitch := c.pitch[c.order[k]]
		if n < 1 || n > 5 || q.First != p.First+n*p.Slots || p.Slots != q.Slots || math.Hypot(p.X-q.X, p.Y-q.Y) > 1.5*float64(n)*pitch {
			continue
		}
		for m := 1; m < n; m++ {
			s := float64(m) / float64(n)
			try(p.First+m*p.Slots, p.Slots, p.X+s*(q.X-p.X), p.Y+s*(q.Y-p.Y), pitch)
		}
		if n == 1 { // beyond the ends
			try(p.First-p.Slots, p.Slots, 2*p.X-q.X, 2*p.Y-q.Y, pitch)
			try(q.First+q.Slots, q.Slots, 2*q.X-p.X, 2*q.Y-p.Y, pitch)
		}
	}
	return found
}

// Grid finds lights by place.
type Grid struct {
	all   []Light
	cells map[[2]int32][]int
}

// NewGrid returns a grid of lights, which stay where they are.
func NewGrid(all []Light) Grid {
	g := Grid{all, map[[2]int32][]int{}}
	for i, l := range all {
		c := cellOf(l.X, l.Y)
		g.cells[c] = append(g.cells[c], i)
	}
	return g
}

// Within returns the indices of the lights no farther than r from a place, all in
// pixels of the picture.
func (g Grid) Within(x, y, r float64) (found []int) {
	lo, hi := cellOf(x-r, y-r), cellOf(x+r, y+r)
	for gx := lo[0]; gx <= hi[0]; gx++ {
		for gy := lo[1]; gy <= hi[1]; gy++ {
			for _, i := range g.cells[[2]int32{gx, gy}] {
				if math.Hypot(g.all[i].X-x, g.all[i].Y-y) <= r {
					found = append(found, i)
				}
			}
		}
	}
	return found
}
