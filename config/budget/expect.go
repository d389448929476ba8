package budget

import (
	"cmp"
	"math"
	"slices"

	"yardproof/config"
)

// Expectation is what meters should read on one string.
type Expectation struct {
	Readings
	Supply float64 // volts at the supply that the others rest on

	// What they may read when wire, joints and pixels are as far from the plan as its
	// tolerance says, each reading at its own worst; nil: not known.
	Least, Most *Readings
}

// Expect works out what should be read on a string (index as in the plan) while
// the slots, with channels as the plan's order counts them and the level in them,
// are sent to it and every other string is dark. Missing slots are dark. The
// port's dimmed and gamma, as the plan has them, and the chip's own law apply.
// Volts are those measured at the supply; 0 stands for the plan's. It reports
// false when the plan does not say enough, or there is no steady state.
//
// A port that derives white is taken to light the white LED as far as all three
// colours go, beside them (no source: controllers differ).
func (b *Budget) Expect(n int, slots []byte, volts float64) (Expectation, bool) {
	return b.ExpectWithout(n, -1, slots, volts)
}

// ExpectWithout is Expect while one feed of the string (index as in the plan) is open; -1: none.
func (b *Budget) ExpectWithout(n, lost int, slots []byte, volts float64) (Expectation, bool) {
	s := b.plan.Strings[n]
	r := &b.Strings[n]
	if b.refused || !r.solved || !(s.Volts > 0 || volts > 0) {
		return Expectation{}, false
	}
	duty := portDuty(slots, s.ChannelsPerPixel(), s.Pixels, s.Brightness, s.Gamma, s.WhiteDerived)
	e := Expectation{Supply: cmp.Or(volts, s.Volts)}
	read, ok := b.read(n, lost, duty, volts, plain())
	if !ok {
		return Expectation{}, false
	}
	e.Readings = *read
	e.Least, e.Most = read.copy(), read.copy()
	for _, c := range all(b.plan.Tolerance, len(s.Feeds)) {
		at, ok := b.read(n, lost, duty, volts, c)
		if !ok { // it collapses there
			e.Least, e.Most = nil, nil
			break
		}
		e.Least.take(at, -1)
		e.Most.take(at, 1)
	}
	return e, true
}

// read is what a string's meters show at a corner; false: there is no steady state.
func (b *Budget) read(n, lost int, duty []float64, volts float64, c corner) (*Readings, bool) {
	s := b.plan.Strings[n]
	g, l := b.rebuildAt(n, c)
	if lost >= 0 {
		l.lose(lost, true)
	}
	if volts > 0 {
		g.measured(l, volts)
	}
	ok := g.solve(g.ladders, func(o *ladder, k int) float64 {
		if pixel := o.pixel(k); o == l && pixel > 0 {
			return o.pixelAmps(k, duty[pixel-1])
		}
		return dark(o, k)
	}, aware)
	if !ok {
		return nil, false
	}
	r := &Readings{Feeds: make([]float64, len(s.Feeds))}
	for _, t := range l.terms {
		if l.positive(t) {
			amps := g.termAmps(l, t)
			r.Feeds[t.feed] = amps
			r.Amps += amps
		}
	}
	if s.Pitch.Known() || LinePixels(s) == 1 {
		r.Volts = l.pixelVolts()
	}
	return r, true
}

// portDuty is the share of full white that each pixel shows, after what the port
// does to the slots: a pixel's channels draw alike.
func portDuty(slots []byte, channels, pixels int, dimmed, gamma float64, derived bool) []float64 {
	var table [256]float64
	for v := range table {
		table[v] = dimmed * math.Pow(float64(v)/255, gamma)
	}
	duty := make([]float64, pixels)
	for p := range duty {
		if (p+1)*channels > len(slots) {
			break
		}
		sum, least, count := 0.0, 1.0, channels
		for _, v := range slots[p*channels : (p+1)*channels] {
			sum += table[v]
			least = min(least, table[v])
		}
		if derived && channels == 3 {
			sum, count = sum+least, 4
		}
		duty[p] = sum / float64(count)
	}
	return duty
}

// Profile returns the volts of each lit pixel of a string at full white of the
// whole plan: with constant current, and by the chip's own law (nil when the two
// are the same or the law has no steady state). Nil: the plan does not say enough.
func (b *Budget) Profile(n int) (constantCurrent, byLaw []float64) {
	if b.refused {
		return nil, nil
	}
	g, l := b.rebuildAt(n, plain())
	if !b.Strings[n].voltsKnown(l) {
		return nil, nil
	}
	if !g.solve(g.ladders, fullWhite, constant) {
		return nil, nil
	}
	constantCurrent = l.pixelVolts()
	if a := b.Strings[n].ChipAware; a != nil && !a.Collapse && g.solve(g.ladders, fullWhite, aware) {
		byLaw = l.pixelVolts()
	}
	return constantCurrent, byLaw
}

// rebuildAt lays out the group of a string anew at a corner: solved groups are not kept. That
// of a single lead is of this string.
func (b *Budget) rebuildAt(n int, c corner) (*group, *ladder) {
	gc := b.groups[b.of[n].group]
	g := b.groupAt(gc, c)
	l := g.ladders[b.of[n].ladder]
	if c.lead != nil {
		if f := l.s.Feeds[c.feed].Feeder; f != nil { // it is all one lead
			for u := range g.rails {
				g.g[g.index[f]*g.rails+u] = 1 / (float64(3-g.rails) * c.lead.ohms(f.Wire, config.Celsius(f.Temperature, b.plan.Temperature)))
			}
		}
		for i := range l.terms {
			if t := &l.terms[i]; t.feed == c.feed {
				f := l.s.Feeds[t.feed]
				t.g = 1 / (float64(3-l.rails) * c.lead.ohms(f.Wire, b.feedCelsius(l.s, f)))
			}
		}
	}
	return g, l
}

// measured puts measured volts in the place of what a ladder's supplies should
// give.
func (g *group) measured(l *ladder, volts float64) {
	for i := range l.terms {
		if t := &l.terms[i]; t.feeder < 0 && l.positive(*t) {
			t.volts = volts
		} else if t.feeder >= 0 && (l.rails == 1 || t.feeder%2 == 0) {
			g.supply[t.feeder] = volts
		}
	}
}

// pixelVolts lists the volts of the lit pixels; of copies, those of the lowest.
func (l *ladder) pixelVolts() []float64 {
	volts := make([]float64, l.s.Pixels)
	for i := range volts {
		k := l.firstNode(i + 1)
		volts[i] = slices.Min(l.volt[k : k+l.copies])
	}
	return volts
}

// Allows reports whether measured points, give or take so many volts, are all within what
// the plan's tolerance allows.
func (e Expectation) Allows(points []Point, within float64) bool {
	for _, p := range points {
		if e.Least == nil || p.Pixel > len(e.Volts) || p.Pixel > 0 && (p.Volts < e.Least.Volts[p.Pixel-1]-within || p.Volts > e.Most.Volts[p.Pixel-1]+within) {
			return false
		}
	}
	return true
}

// Point is volts measured on a string.
type Point struct {
	Pixel int // lit pixel from 1; 0: at the supply
	Volts float64
}

// Residual is a drop that the plan does not explain.
type Residual struct {
	From, To int     // pixels between which it lies; 0: the supply
	Volts    float64 // lost more than expected from From to To; negative: less
	Next     int     // the pixel to measure next to close in on it; 0: From and To are neighbours
}

// Locate says between which of the measured points more volts are lost than
// expected, the largest loss first, leaving out what lies within the error of the
// meter, in volts. A loss between neighbours is a joint, or a lead.
func (e Expectation) Locate(points []Point, within float64) []Residual {
	sorted := slices.Clone(points)
	slices.SortFunc(sorted, func(a, b Point) int { return cmp.Compare(a.Pixel, b.Pixel) })
	at := func(p Point) (float64, bool) {
		switch {
		case p.Pixel == 0:
			return e.Supply, true
		case p.Pixel < 0 || p.Pixel > len(e.Volts):
			return 0, false
		}
		return e.Volts[p.Pixel-1], true
	}
	sorted = slices.DeleteFunc(sorted, func(p Point) bool { _, ok := at(p); return !ok })
	var found []Residual
	for i := 1; i < len(sorted); i++ {
		from, to := sorted[i-1], sorted[i]
		a, _ := at(from)
		b, _ := at(to)
		r := Residual{From: from.Pixel, To: to.Pixel, Volts: (from.Volts - to.Volts) - (a - b)}
		if math.Abs(r.Volts) <= within {
			continue
		}
		if to.Pixel-from.Pixel > 1 {
			r.Next = (from.Pixel + to.Pixel) / 2
		}
		found = append(found, r)
	}
	slices.SortStableFunc(found, func(a, b Residual) int { return cmp.Compare(math.Abs(b.Volts), math.Abs(a.Volts)) })
	return found
}
