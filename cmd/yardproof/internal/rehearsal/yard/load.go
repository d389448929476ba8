package yard

import (
	"cmp"

	"yardproof/config"
	"yardproof/config/budget"
)

// A law is how a chip draws current, and lights, as its volts fall.
type law struct {
	kind       config.LoadKind
	nominal    float64
	full, idle float64 // amperes of a chip at full white and dark
	channels   float64

	lowest, zero       float64 // of green, blue and white: from where they fade, and where nothing is left
	redLowest, redZero float64
	least              float64 // of the chip itself: below it, it does not pass data on
}

// Where nothing is known of a chip (common practice, no source).
const (
	someAmps     = 0.05
	regulatorOff = 0.6 // of its volts: a regulator goes off from here
	regulatorOut = 0.4
)

// newLaw takes the chip's figures from the budget, which has them from datasheets. A
// red LED has about two thirds of the others' forward volts (2.0 and 3.0 V: memory of
// datasheets), so it fades last: a far end that has few volts is reddish.
func newLaw(chip budget.Chip, s *config.String, nominal float64) law {
	l := law{
		kind: cmp.Or(chip.Load, config.LoadCurrent), nominal: nominal, channels: float64(len(outputs(s))),
		full: cmp.Or(chip.AmpsPerPixel, someAmps), idle: min(chip.IdleAmpsPerPixel, cmp.Or(chip.AmpsPerPixel, someAmps)),
	}
	for _, f := range chip.Fade {
		if nominal > 0.8*f.Volts && nominal < 1.2*f.Volts {
			l.lowest, l.zero = f.LowestVolts, f.ZeroVolts
		}
	}
	l.lowest = cmp.Or(s.Chip.DropoutVolts, l.lowest, 0.85*nominal)
	if l.zero <= 0 || l.zero >= l.lowest {
		l.zero = 0.75 * l.lowest
	}
	l.redZero = l.zero * 2 / 3
	l.redLowest = l.lowest - (l.zero - l.redZero)
	l.least = 0.45 * nominal // common practice, no source
	if nominal < 7 {
		l.least = 0.65 * nominal
	}
	return l
}

// between is the share, 0 to 1, that is left at v volts of what fades from high to
// low, and how it changes with the volts.
func between(v, low, high float64) (share, slope float64) {
	switch {
	case v >= high:
		return 1, 0
	case v <= low:
		return 0, 0
	}
	return (v - low) / (high - low), 1 / (high - low)
}

// at returns what a chip draws at v volts that would draw so many amperes for its
// red, its other colours and itself, and how that changes with the volts.
func (l *law) at(v, red, rest, idle float64) (amps, slope float64) {
	switch l.kind {
	case config.LoadPower: // a regulator: the same power, until it goes off
		power := (red + rest + idle) * l.nominal
		off := regulatorOff * l.nominal
		if v >= off {
			return power / v, -power / (v * v)
		}
		share, rise := between(v, regulatorOut*l.nominal, off)
		return power / off * share, power / off * rise
	case config.LoadResistor:
		g := (red + rest + idle) / l.nominal
		return g * v, g
	}
	fr, sr := between(v, l.redZero, l.redLowest)
	fo, so := between(v, l.zero, l.lowest)
	fi, si := between(v, 0, 0.3*l.nominal)
	return red*fr + rest*fo + idle*fi, red*sr + rest*so + idle*si
}

// light is the share of its light that a colour has left at v volts.
func (l *law) light(v float64, colour byte) float64 {
	share := 0.0
	switch {
	case l.kind == config.LoadPower:
		share, _ = between(v, regulatorOut*l.nominal, regulatorOff*l.nominal)
	case l.kind == config.LoadResistor:
		share, _ = between(v, 0, l.nominal)
	case colour == 'R':
		share, _ = between(v, l.redZero, l.redLowest)
	default:
		share, _ = between(v, l.zero, l.lowest)
	}
	return share
}

// draw works out what every chip would draw at its own volts, from what it holds.
func (c *circuit) draw() {
	each := (c.law.full - c.law.idle) / c.law.channels / 255
	for k := range c.alive {
		c.red[k], c.rest[k], c.idle[k] = 0, 0, c.law.idle
		if k < c.plan.NullPixels || c.dark[k] || !c.alive[k] {
			continue
		}
		for i, v := range c.latched[k*c.width : (k+1)*c.width] {
			switch letter := c.colour[i]; {
			case letter == c.noDie[k]:
			case letter == 'R':
				c.red[k] += each * float64(v)
			default:
				c.rest[k] += each * float64(v)
			}
		}
	}
}

// amps is what the string would draw at its own volts.
func (p *pixels) amps() float64 {
	sum := 0
	for _, v := range p.latched {
		sum += int(v)
	}
	full := cmp.Or(p.chip.AmpsPerPixel, someAmps)
	return full * float64(sum) / 255 / float64(p.width)
}
