package belief

import (
	"math"
	"slices"

	"yardproof/sacn"
)

// What a sign that a cause does not give is still worth: eyes err, and tables do.
const slip = 0.015

// toldBy is the logarithm of how likely a look is under a hypothesis. A place that was
// seen before says little, and so does what was seen at another level before.
func (m *model) toldBy(h *hypothesis, look int) float64 {
	l := m.looks[look]
	p := m.sign(h, l.Test, l.Sign)
	if l.Sign == DarkOne && l.Pixel == m.String.Pixels-1 && h.cause.Kind != DeadPixel { // a tail of one pixel
		p = min(0.95, p+m.sign(h, l.Test, DarkTail))
	}
	sign, place := math.Log(max(p, unlikely)), 0.0
	if Placed(l.Sign) {
		if l.Test != Ends || l.Sign == DarkTail || l.Sign == DarkOne {
			place = math.Log(max(m.at(h, l), unlikely))
		}
	}
	if m.seen(look) {
		if place *= again; l.Test != Ends {
			sign *= again
		}
	}
	return sign + place
}

// again is what a look along the string is worth that says what one before it said: at
// another level or hour it is nearly the same look.
const again = 0.2

func (m *model) seen(look int) bool {
	l := m.looks[look]
	if !levels(l.Test) {
		return false
	}
	for _, o := range slices.Backward(m.looks[:look]) {
		if o.Test == Mended { // what was seen before it may have been that
			return false
		}
		if levels(o.Test) && o.Sign == l.Sign && o.Sign != Fine && (o.Pixel == l.Pixel || o.Sign == NoiseTail) {
			return true
		}
	}
	return false
}

// Signs is what may be seen in a test; none: a meter is read.
func Signs(t Test) []Sign { return slices.Clone(signsOf[t]) }

// Says is what a sign means in a test, as somebody is asked for it.
func (t Test) Says(s Sign) string {
	if words, ok := says[t][s]; ok {
		return words
	}
	return string(s)
}

// says are the signs whose bare word says too little in a test.
var says = map[Test]map[Sign]string{
	Dark:  {Fine: "all of it is dark", Lit: "something stays lit", Noise: "it sparkles"},
	Alone: {Fine: "this one", Another: "another string", Nothing: "none"},
	Slots: {Fine: "as in the plan", Another: "other colours", ColoursTail: "right, then wrong from a pixel on", Mixed: "neighbours differ", Nothing: "nothing lights"},
	Ends:  {Moved: "the marks stand elsewhere", Backward: "red first, green last"},
	Watch: {Fine: "it does not sparkle", Noise: "all of it sparkles", NoiseTail: "it sparkles from a pixel on"},
	Heard: {Fine: "no other source", Another: "another source"},
	More:  {Fine: "as much when it is faint", Another: "more when it is bright", Nothing: "it does not sparkle"},
}

// Placed reports whether a pixel goes with a sign.
func Placed(s Sign) bool {
	switch s {
	case DarkTail, DarkOne, ColoursOne, NoiseTail, DimTail, ColoursTail, DarkHead:
		return true
	}
	return false
}

// levels reports whether a test shows the whole string at some level.
func levels(t Test) bool { return t == White || t == Bright || t == Low || t == Later || t == Ends }

// sign is how likely a sign is, wherever it stands.
func (m *model) sign(h *hypothesis, t Test, s Sign) float64 {
	if i := slices.Index(signsOf[t], s); i >= 0 {
		return m.dist(h, t)[i]
	}
	return slip
}

// drawn is which odds a hypothesis has in a test: its cause's own, or those of the
// light that its volts leave.
type drawn struct {
	cause int
	test  Test
	light Sign
}

// dist is how likely each sign of a test is, in the order of signsOf.
func (m *model) dist(h *hypothesis, t Test) []float64 {
	key := drawn{cause: h.cause.index, test: t}
	if _, own := h.cause.signs[t]; !own {
		key.cause, key.light = -1, h.lightIn(t)
	}
	if m.latest.of == key { // hypotheses of one cause follow each other
		return m.latest.dist
	}
	if d, ok := m.dists[key]; ok {
		m.latest.of, m.latest.dist = key, d
		return d
	}
	o := h.cause.signs[t]
	if key.cause < 0 {
		o = lightOdds(t, key.light)
	}
	left := 1.0
	for _, p := range o {
		left -= p
	}
	left = max(left, slip)
	d := make([]float64, len(signsOf[t]))
	for i, s := range signsOf[t] {
		p, ok := o[s]
		if !ok {
			p = left / float64(len(d)-min(len(o), len(d)-1))
		}
		d[i] = p
	}
	m.dists[key] = d
	return d
}

// lightIn is what a hypothesis's volts leave of the light in a test.
func (h *hypothesis) lightIn(t Test) Sign {
	switch t {
	case White, Later, Alone, Slots:
		return h.faint
	case Bright:
		return h.bright
	case Low, Ends:
		return h.low
	}
	return Fine
}

// lightOdds are the odds of signs where volts leave such a light.
func lightOdds(t Test, s Sign) odds {
	switch {
	case s == AllDark && t == Alone:
		return odds{Nothing: 0.9, Fine: 0.09}
	case s == AllDark && t == Slots:
		return odds{Nothing: 0.9, Fine: 0.05}
	case s == Fine || s == "" || t == Slots || t == Alone || t == Ends && s != AllDark && s != DarkTail:
		return odds{Fine: 0.98}
	case s == DarkTail:
		return odds{DarkTail: 0.7, DarkOne: 0.04, DimTail: 0.12, Dim: 0.02, Fine: 0.03}
	case s == AllDark:
		return odds{AllDark: 0.85, Dim: 0.05, DarkTail: 0.05}
	case s == DimTail:
		return odds{DimTail: 0.65, Dim: 0.08, Fine: 0.18, DarkTail: 0.05}
	}
	return odds{Dim: 0.65, DimTail: 0.12, Fine: 0.15, AllDark: 0.03, DarkTail: 0.03}
}

// atCurrent is a profile with another current: what is lost in wire goes with it, what
// the supply lacks does not.
func (m *model) atCurrent(e *electric, share float64) *electric {
	if share == 1 {
		return e
	}
	top := 0.0
	for _, v := range e.volts {
		top = max(top, v)
	}
	top = max(top, m.wire.zero)
	scaled := &electric{volts: make([]float64, len(e.volts))}
	for i, v := range e.volts {
		scaled.volts[i] = top - (top-v)*share
		if v == 0 {
			scaled.volts[i] = 0
		}
	}
	return scaled
}

// at is how likely the pixel of a sign is.
func (m *model) at(h *hypothesis, l Look) float64 {
	n := float64(m.String.Pixels)
	even := 1 / n
	near := func(want int, exact float64) float64 {
		switch d := l.Pixel - want; {
		case d == 0:
			return exact
		case d == 1 || d == -1:
			return 0.1 * (1 - exact)
		}
		return 0.8 * (1 - exact) / n
	}
	// window is a place within so many pixels of the end, or of the beginning where it may be.
	window := func(pixels int, head, tail bool) float64 {
		from, may := m.String.Pixels-l.Pixel, tail
		if l.Sign == DarkHead || l.Sign == DarkOne && l.Pixel == 0 {
			from, may = max(l.Pixel, 1), head
		}
		if may && from <= pixels {
			return 0.95 / float64(pixels)
		}
		return 0.05 * even
	}
	switch h.cause.Kind {
	case DeadPixel, DeadColour:
		return near(h.place-1, 0.94)
	case BrokenData:
		return max(near(h.place, 0.85), 0.06*one(l.Pixel == h.place-1)) // an input or an output
	case BrokenWire:
		if l.Sign == DarkTail {
			return near(h.place, 0.8)
		}
		return even
	case Joint:
		if l.Sign == DimTail || l.Sign == DarkTail {
			good := h.good
			if l.Test != Bright {
				good = h.faintGood
			}
			if good > 0 {
				return max(near(good, 0.5), 0.4*even+0.2*math.Exp(-math.Abs(float64(good-l.Pixel))/6)/12)
			}
		}
		return even
	case WetJoint: // of some bursts that begin anywhere behind it, the first
		return m.firstOf(l.Pixel-h.place, m.String.Pixels-h.place, bursts(l.Test))
	case DataLead, Bond:
		return m.firstOf(l.Pixel, m.String.Pixels, bursts(l.Test))
	case Channels:
		switch d := l.Pixel - m.String.Pixels*3/4; { // three channels a pixel feed three quarters of four
		case d >= -1 && d <= 1:
			return 0.3
		}
		return 0.1 * even
	case Count:
		if h.place > 0 {
			return near(h.place, 0.95)
		}
		return even
	case Start: // at an end, or where the first universe is full
		if at := m.universe(); at > 0 && l.Pixel <= at && l.Pixel >= at-5 {
			return 0.12
		}
		return window(5, m.String.Channel > 1, true)
	case Nulls:
		return window(2, true, m.String.NullPixels > 0)
	case Packing: // it begins where the first universe is full
		if at := m.universe(); at > 0 {
			return near(at, 0.75)
		}
		return 0.3 * even
	}
	return even
}

// bursts is how many bursts of noise are watched.
func bursts(t Test) float64 {
	if t == Watch {
		return 60
	}
	return 5
}

// firstOf is how likely the first of some bursts begins at a place of so many.
func (m *model) firstOf(at, of int, bursts float64) float64 {
	even := 1 / float64(m.String.Pixels)
	if at < 0 || of < 1 {
		return 0.02 * even
	}
	return 0.95*bursts/float64(of)*math.Pow(max(0, 1-float64(at)/float64(of)), bursts-1) + 0.02*even
}

// universe is how many pixels of the string its first universe has room for; 0: all.
func (m *model) universe() int {
	segments := m.Plan.Map().Strings[m.String.Index].Segments
	if len(segments) < 2 {
		return 0
	}
	return (sacn.MaxSlots - m.String.Channel + 1) / m.String.ChannelsPerPixel()
}

// one is 1 where something holds, else 0.
func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
