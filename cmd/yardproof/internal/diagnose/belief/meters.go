package belief

import (
	"math"
	"slices"

	"yardproof/config"
)

// How far a model may be off besides its meters (common practice, no source).
const (
	evenly     = 0.58  // of what a meter may be off by, as one deviation: evenly spread
	ampsOff    = 0.012 // amperes, of one reading
	voltsOff   = 0.012
	drawOff    = 0.05 // share that pixels draw more or less, all alike
	supplyOff  = 0.1  // volts that a supply is set off by
	wireOff    = 0.03 // share of lost volts, of one reading
	starvedOff = 0.5  // of the share of the current that is missing for want of volts, of one reading
	sizeOff    = 0.3  // of the way to the next size, as one deviation
)

// read is the logarithm of how likely all meter readings together are: those of one
// meter share its gain and its nought. With is another fault that was there too, for so
// many of the looks.
func (m *model) read(h *hypothesis, blocks bool, with *hypothesis, looks int) float64 {
	if m.wire == nil {
		return 0
	}
	var amps, volts reads
	late := false
	for k, l := range m.looks {
		late = l.Test != Mended && (late || l.Test == Later && l.Sign != Fine)
		if l.First > 0 && !blocks {
			continue
		}
		if atSupply := l.Test == Volts && l.Pixel == 0; late && !atSupply && (h.cause.Kind == HotSupply || h.cause.Kind == Multicast) { // it is as it was then
			switch all := m.wire.plan.Amps; l.Test {
			case Amps:
				amps.add(expected{value: all / 4, off: all / 2}, l.amps(), m.Plan.Meter)
			case Volts:
				volts.add(expected{value: m.wire.volts / 2, off: m.wire.volts / 2}, l.Value, m.Volt)
			}
			continue
		}
		x := with
		if k >= looks {
			x = nil
		}
		switch l.Test {
		case Amps:
			amps.add(m.ampsOf(h, x, l, true), l.amps(), m.Plan.Meter)
		case Volts:
			volts.add(m.voltsOf(h, x, l, true, late), l.Value, m.Volt)
		}
	}
	return amps.density() + volts.density()
}

// expected is what a meter should show, what of it is current that pixels draw, and
// how far its own reading may be off.
type expected struct {
	value, draw, off float64
	size             float64 // by which it differs for a size halfway to the next
	nought           bool    // the meter's nought is in it
	supply           bool    // the supply's setting is in it
}

// unclear are the causes that show something else than what is sent, or not all of it:
// meters say little of them.
func (k Kind) unclear() bool {
	switch k {
	case OwnTest, Second, ChipType, Channels, Unknown, Frozen:
		return true
	}
	return false
}

// whateverIsSent is by how much more a feed gives white than dark where something else
// than what is sent is shown, of e as planned: all readings of it are off alike.
func (k Kind) whateverIsSent(e float64) (expected, bool) {
	switch k {
	case Frozen:
		return expected{off: ampsOff + 0.1*e}, true
	case OwnTest:
		return expected{size: 0.3 * e, off: ampsOff + 0.2*e}, true
	case ChipType:
		return expected{size: 0.3 * e, off: ampsOff + 0.1*e}, true
	case Second: // the one or the other wins, or they take turns
		return expected{value: 0.4 * e, size: 0.45 * e, off: ampsOff + 0.1*e}, true
	}
	return expected{}, false
}

// roughly is how much more a share of the current may be off where some pixels are not
// lit as sent now and then.
func (k Kind) roughly() float64 {
	switch k {
	case DataLead, Bond, WetJoint, Count, Start, Nulls, Packing, Order:
		return 0.06
	}
	return 0
}

// unclear reports whether either of two faults, of which the second may be nil, is so.
func unclear(h, x *hypothesis) bool {
	return h.cause.unclear() || x != nil && x.cause.unclear()
}

func roughly(h, x *hypothesis) float64 {
	r := h.cause.roughly()
	if x != nil {
		r = max(r, x.cause.roughly())
	}
	return r
}

// ampsOf is what a clamp should show, with another fault if x is not nil. Sizes between
// those that are weighed are heeded for a reading, and not while a look is chosen.
func (m *model) ampsOf(h, x *hypothesis, l Look, sizes bool) expected {
	w := m.wire
	b := block{l.First, l.Last}
	u := m.under(b)
	at := func(e *electric) float64 {
		if l.Return {
			return e.returns[l.Feed]
		}
		return e.feeds[l.Feed]
	}
	e, dark := u.plan.Feeds[l.Feed], w.planDark.Feeds[l.Feed]
	size := 0.0
	if elec := m.elecUnder(h, b, u); elec != nil {
		if all := at(w.sound); all > 0 { // its share of what all pixels draw
			dark *= at(h.elec) / all
		}
		e += at(elec) - at(u.sound)
		if sizes && h.step != 0 {
			if o := m.elecUnder(&m.all[h.index+h.step], b, u); o != nil {
				size = sizeOff * (at(o) - at(elec))
			}
		}
	}
	if x != nil {
		if elec := m.elecUnder(x, b, u); elec != nil { // what two faults do adds up, nearly
			e = max(0, e+at(elec)-at(u.sound))
			if all := at(w.sound); all > 0 {
				dark *= at(x.elec) / all
			}
		}
	}
	if l.Dark != nil {
		e = max(0, e-dark)
		for _, f := range []*hypothesis{h, x} {
			if f != nil {
				if out, ok := f.cause.whateverIsSent(e); ok {
					return out
				}
			}
		}
	}
	out := expected{value: e, draw: e, size: size, off: ampsOff + (0.01+roughly(h, x)+starvedOff*m.starved(h, b, u))*math.Abs(e), nought: l.Dark == nil}
	if unclear(h, x) {
		out.value, out.off = 0.75*e, ampsOff+0.35*math.Abs(e)
	}
	return out
}

// starved is which share of the current a hypothesis takes from pixels for want of
// volts, at most half: how they fade is not known well.
func (m *model) starved(h *hypothesis, b block, u *underBlock) float64 {
	elec := m.elecUnder(h, b, u)
	if elec == nil {
		return 0
	}
	got, all := 0.0, 0.0
	for i := range elec.feeds {
		got, all = got+elec.feeds[i], all+u.sound.feeds[i]
	}
	return min(0.5, math.Abs(all-got)/max(all, 1e-9))
}

// late reports whether something has changed since it was lit for minutes.
func (m *model) late() bool {
	return slices.ContainsFunc(m.fresh(), func(l Look) bool { return l.Test == Later && l.Sign != Fine })
}

// voltsOf is what a voltmeter should show; late: after it has changed, see [model.late].
func (m *model) voltsOf(h, x *hypothesis, l Look, sizes, late bool) expected {
	w := m.wire
	if l.Pixel == 0 && late && h.cause.Kind == HotSupply { // it may have come back
		return expected{off: 0.4 * w.volts, nought: true}
	}
	if l.Pixel == 0 {
		v := w.volts
		for _, f := range []*hypothesis{h, x} {
			switch {
			case f == nil:
			case f.cause.Kind == LowSupply:
				v *= 1 - f.size
			case f.cause.Kind == SupplyOff && (f.feed == 0 || m.opened(f)&1 == 1): // that of the first feed
				v = 0
			}
		}
		return expected{value: v, off: voltsOff, nought: true, supply: true}
	}
	b := block{l.First, l.Last}
	u := m.under(b)
	v, size := u.plan.Volts[l.Pixel-1], 0.0
	if elec := m.elecUnder(h, b, u); elec != nil {
		v += elec.volts[l.Pixel-1] - u.sound.volts[l.Pixel-1]
		if sizes && h.step != 0 {
			if o := m.elecUnder(&m.all[h.index+h.step], b, u); o != nil {
				size = sizeOff * (o.volts[l.Pixel-1] - elec.volts[l.Pixel-1])
			}
		}
	}
	if x != nil {
		if elec := m.elecUnder(x, b, u); elec != nil {
			v += elec.volts[l.Pixel-1] - u.sound.volts[l.Pixel-1]
		}
	}
	v = max(v, 0)
	lost := w.volts - v
	if unclear(h, x) {
		return expected{value: w.volts - 0.75*lost, draw: -lost, off: voltsOff + 0.4*math.Abs(lost), nought: true, supply: true}
	}
	return expected{value: v, draw: -lost, size: size, off: voltsOff + (wireOff+roughly(h, x)+starvedOff*m.starved(h, b, u))*math.Abs(lost), nought: true, supply: v > 0}
}

// reads are readings of one meter under one hypothesis.
type reads struct {
	off    []float64   // read less expected
	own    []float64   // deviation of each
	shared [][]float64 // deviations in common, by what is common
}

func (r *reads) add(e expected, value float64, meter config.Meter) {
	if r.shared == nil {
		r.shared = make([][]float64, 5)
	}
	r.off = append(r.off, value-e.value)
	r.own = append(r.own, e.off)
	r.shared[0] = append(r.shared[0], evenly*meter.Share*e.value)
	r.shared[1] = append(r.shared[1], evenly*meter.Fixed*one(e.nought))
	r.shared[2] = append(r.shared[2], drawOff*e.draw)
	r.shared[4] = append(r.shared[4], e.size)
	r.shared[3] = append(r.shared[3], supplyOff*one(e.supply))
}

// density is the logarithm of a normal density with these deviations; far off it
// falls no further, since tables and people err.
func (r *reads) density() float64 {
	n := len(r.off)
	if n == 0 {
		return 0
	}
	l := make([]float64, n*n)
	for i := range n {
		for j := range i + 1 {
			s := 0.0
			for _, c := range r.shared {
				s += c[i] * c[j]
			}
			if i == j {
				s += r.own[i] * r.own[i]
			}
			l[i*n+j] = s
		}
	}
	sum := 0.0
	y := make([]float64, n)
	for j := range n { // Cholesky's factor, and the readings through it
		for k := range j {
			l[j*n+j] -= l[j*n+k] * l[j*n+k]
		}
		d := math.Sqrt(max(l[j*n+j], 1e-12))
		l[j*n+j] = d
		for i := j + 1; i < n; i++ {
			for k := range j {
				l[i*n+j] -= l[i*n+k] * l[j*n+k]
			}
			l[i*n+j] /= d
		}
		y[j] = r.off[j]
		for k := range j {
			y[j] -= l[j*n+k] * y[k]
		}
		y[j] /= d
		sum += -0.5*min(y[j]*y[j], 36) - math.Log(d)
	}
	return sum
}

// amps is what a clamp showed, less what it showed in the dark. It may hang either way
// round.
func (l Look) amps() float64 {
	if l.Dark != nil {
		return math.Abs(l.Value - *l.Dark)
	}
	return math.Abs(l.Value)
}
