package budget

import (
	"cmp"
	"fmt"
	"slices"

	"yardproof/config"
)

// A corner is how far from the plan everything is at once.
type corner struct {
	wire   float64 // the resistance of leads and feeders, as a multiple
	pitch  float64 // and of what lies between the pixels
	joint  float64 // ohms of each joint
	pixels float64 // every pixel's current, as a multiple

	lead *corner // of one feed of one string, and of its feeder, in their place; nil: none
	feed int
}

// A lead, a feeder and a jumper have a joint at each end of each conductor. Solder of
// the maker's own is in the wire's tolerance.
const jointsOfWire = 2

func plain() corner { return corner{wire: 1, pitch: 1, pixels: 1} }

// ohms is one conductor of a wire with its joints.
func (c corner) ohms(w config.Wire, celsius float64) float64 {
	return max(c.wire*wireOhms(w, celsius), noLengthOhms) + jointsOfWire*c.joint
}

// corners are the two ends of what a plan's tolerance allows: least volts at the pixels
// and most. The volts of every pixel fall with every pixel's current and with the
// resistance of all wire and all joints together.
func corners(t config.Tolerance) (least, most corner) {
	return corner{wire: 1 + t.Wire, pitch: 1 + t.Wire, joint: t.Joint, pixels: 1 + t.Pixel},
		corner{wire: 1 - t.Wire, pitch: 1 - t.Wire, pixels: 1 - t.Pixel}
}

// all lists the corners at which the readings of a string with some feeds are most
// apart: for each feed also its own lead bad and the others good, and the other way, with
// either pitch. A worse lead turns current to the others wherever it is drawn.
func all(t config.Tolerance, feeds int) []corner {
	least, most := corners(t)
	list := []corner{least, most}
	for i := range feeds {
		if feeds == 1 {
			break
		}
		for _, pitch := range []float64{least.pitch, most.pitch} {
			a, b := most, least
			a.pitch, b.pitch = pitch, pitch
			a.pixels, b.pixels = most.pixels, least.pixels
			a.lead, a.feed = &least, i
			b.lead, b.feed = &most, i
			list = append(list, a, b)
		}
	}
	return list
}

// ToleranceText says what the bands of a plan rest on.
func ToleranceText(t config.Tolerance) string {
	source := "from the plan"
	d := config.DefaultTolerance
	if t.Wire == d.Wire && t.Joint == d.Joint && t.Pixel == d.Pixel {
		source = "common practice, no source; set tolerance"
	}
	return fmt.Sprintf("What volts and amps may be: wire within %.3g %%, pixels within %.3g %%, and up to %.3g milliohms in each plug, fuse holder or screwed joint, two on each conductor of a lead, feeder and jumper (%s). Solder between the pixels counts as wire.",
		100*t.Wire, 100*t.Pixel, 1000*t.Joint, source)
}

// A Band is what a figure may be when wire, joints and pixels are as far from the plan
// as its tolerance says.
type Band struct {
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// bands fills in the lowest volts of a group's strings at both ends.
func (b *Budget) bands(gc *groupCap) {
	least, most := corners(b.plan.Tolerance)
	for _, c := range []corner{least, most} {
		g := b.groupAt(gc, c)
		if !g.solve(g.ladders, fullWhite, constant) {
			return
		}
		for i, l := range g.ladders {
			r := &b.Strings[gc.strings[i]]
			if !r.voltsKnown(l) {
				continue
			}
			if r.LowestVoltsBand == nil {
				r.LowestVoltsBand = &Band{r.LowestVolts, r.LowestVolts}
			}
			volts, _ := l.lowest()
			r.LowestVoltsBand.widen(max(volts, 0))
		}
	}
}

func (b *Band) widen(v float64) { b.Least, b.Most = min(b.Least, v), max(b.Most, v) }

// Readings are amperes and volts of a string, as meters would show them.
type Readings struct {
	Amps  float64   // into the string, all feeds together
	Feeds []float64 // amperes in the positive conductor of each feed, as in the plan
	Volts []float64 // at each lit pixel, between its V+ and its return; [0] is pixel 1
}

func (r *Readings) copy() *Readings {
	return &Readings{r.Amps, slices.Clone(r.Feeds), slices.Clone(r.Volts)}
}

// take keeps the lower (sign -1) or the higher (1) of each reading.
func (r *Readings) take(o *Readings, sign int) {
	keep := func(a *float64, b float64) {
		if cmp.Compare(b, *a) == sign {
			*a = b
		}
	}
	keep(&r.Amps, o.Amps)
	for i := range r.Feeds {
		keep(&r.Feeds[i], o.Feeds[i])
	}
	for i := range r.Volts {
		keep(&r.Volts[i], o.Volts[i])
	}
}
