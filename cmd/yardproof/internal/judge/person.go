package judge

import (
	"fmt"
	"math"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/diagnose/belief"
	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/patterns"
)

// Person goes through one yard, and keeps count of what it costs.
type Person struct {
	c        *Case
	left     []yard.Fault // not put right yet
	y, sound *yard.Yard
	now      time.Duration
	clamp    yard.Meter
	volt     yard.Meter
	sights   map[string][]Sight
	done     []belief.Look // as asked for; nil of the lists

	Trips   int
	Minutes float64
	at      int // the place of the ladder, a pixel; -1: on the ground
}

// What things take, in minutes (common practice, no source).
const (
	lookMinutes   = 0.5
	meterMinutes  = 2.0
	ladderMinutes = 5.0
	laterMinutes  = 10.0
	watchMinutes  = 4.0
)

// NewPerson puts somebody into the yard of a case.
func NewPerson(c *Case) *Person {
	p := &Person{c: c, at: -1, left: c.Faults}
	p.enter()
	p.clamp, p.volt = p.y.Meters()
	return p
}

// enter is the yard with what is left of its faults, and nothing seen of it yet.
func (p *Person) enter() {
	lay := func(f []yard.Fault) *yard.Yard {
		y, err := yard.New(p.c.Plan, p.c.Budget, yard.Options{Seed: p.c.Seed, Faults: f})
		if err != nil {
			panic(err) // faults were drawn for this plan
		}
		return y
	}
	p.y, p.sound, p.now, p.sights = lay(p.left), lay(nil), 0, map[string][]Sight{}
}

// string is the one in question.
func (p *Person) string() *config.String { return p.c.Plan.Strings[p.c.String] }

// frame is the slots of a pattern on some strings.
func (p *Person) frame(pattern string, o patterns.Options, level float64, lit func(n int) bool) [][]byte {
	var slots [][]byte
	m := p.c.Plan.Map()
	for _, u := range m.Universes {
		slots = append(slots, make([]byte, u.Channels))
	}
	pat, _ := patterns.Lookup(pattern)
	for n, s := range p.c.Plan.Strings {
		if !lit(n) {
			continue
		}
		own := make([]byte, s.Pixels*s.ChannelsPerPixel())
		pat.Frame(own, light.Layout(s), o, time.Minute)
		for i, v := range own {
			own[i] = byte(float64(v) * level)
		}
		for _, c := range m.Strings[n].Copies {
			copy(slots[c.Universe][c.At:], own[c.From:c.From+c.Length])
		}
	}
	return slots
}

func everyString(int) bool { return true }

// random reports whether a fault leaves anything to chance from frame to frame.
func random(k yard.Kind) bool {
	switch k {
	case yard.WrongChip, yard.SecondSource, yard.OwnTest:
		return true
	}
	return false
}

// noisy reports whether a fault spoils a frame now and then: it is looked at until it
// has done so a few times.
func noisy(k yard.Kind) bool {
	return k == yard.LongDataLead || k == yard.NoReturnBond || k == yard.WetJoint
}

// show lights strings and says what is seen of each.
func (p *Person) show(key, pattern string, o patterns.Options, level float64, lit func(n int) bool) []Sight {
	if s, ok := p.sights[key]; ok {
		return s
	}
	p.Minutes += lookMinutes
	frames := 3
	for _, f := range p.left {
		if random(f.Kind) {
			frames = eyeFrames
		}
		if noisy(f.Kind) {
			frames = noiseFrames
		}
	}
	slots := p.frame(pattern, o, level, lit)
	for range 3 { // the first ones wake chips that had no volts
		p.now += 60 * time.Millisecond
		p.y.Frame(p.now, slots)
		p.sound.Frame(p.now, slots)
	}
	n := len(p.c.Plan.Strings)
	looks := make([][][]yard.Colour, n)
	differ := 0
	for i := 0; i < frames && differ < 10; i++ {
		p.now += 130 * time.Millisecond
		p.y.Frame(p.now, slots)
		for k := range n {
			if k == p.c.String || i < 3 && frames > 3 || i < 1 {
				looks[k] = append(looks[k], p.y.Look(nil, k))
			}
		}
		if mine := looks[p.c.String]; !slices.Equal(mine[len(mine)-1], mine[0]) {
			differ++
		}
	}
	p.sound.Frame(p.now, slots)
	out := make([]Sight, n)
	for k := range n {
		out[k] = sight(looks[k], p.sound.Look(nil, k))
	}
	out[p.c.String].Often = often(looks[p.c.String])
	p.sights[key] = out
	return out
}

const faint = 0.3 // of full: the usual level of a look

// White is full white at a low level, on every string.
func (p *Person) White() []Sight {
	return p.show("white", patterns.FullWhite, patterns.Options{}, faint, everyString)
}

// Bright is full white as bright as the plan allows, on the one string.
func (p *Person) Bright() Sight {
	return p.show("bright", patterns.FullWhite, patterns.Options{}, p.Level(), p.alone)[p.c.String]
}

// Low is white at one twentieth.
func (p *Person) Low() Sight {
	return p.show("low", patterns.FullWhite, patterns.Options{}, 0.05, p.alone)[p.c.String]
}

// Dark is nothing lit.
func (p *Person) Dark() Sight {
	return p.show("dark", patterns.Dark, patterns.Options{}, 1, everyString)[p.c.String]
}

// Alone lights the one string only: which strings light?
func (p *Person) Alone() (lit []int) {
	for n, s := range p.show("alone", patterns.FullWhite, patterns.Options{}, faint, p.alone) {
		switch {
		case n == p.c.String && (s.Where != All || s.State != Dark), n != p.c.String && s.State == Extra:
			lit = append(lit, n)
		}
	}
	return lit
}

// Slot is one slot of every pixel, on the one string.
func (p *Person) Slot(slot int) Sight {
	return p.show(fmt.Sprint("slot", slot), patterns.OneSlot, patterns.Options{Slot: slot}, faint, p.alone)[p.c.String]
}

// Ends is the pattern of that name.
func (p *Person) Ends() Sight {
	return p.show("ends", patterns.Ends, patterns.Options{}, faint, everyString)[p.c.String]
}

// slotOne is lit for minutes: a third of white's current.
var slotOne = patterns.Options{Slot: 1}

// filmed is the level of a film: of its bits, 10011001, one that gets lost shows behind it
// (at 100 % all are alike, and none would).
const filmed = 0.6

// Later is white after ten minutes and more of one colour: what holds an old picture shows
// that.
func (p *Person) Later() []Sight {
	if s, ok := p.sights["later"]; ok {
		return s
	}
	slots := p.frame(patterns.OneSlot, slotOne, 1, everyString)
	for range 24 {
		p.now += 30 * time.Second
		p.y.Frame(p.now, slots)
		p.sound.Frame(p.now, slots)
	}
	p.Minutes += laterMinutes
	return p.show("later", patterns.FullWhite, patterns.Options{}, faint, everyString)
}

// Watch is how many pixels from the beginning are steady on a film of three minutes.
func (p *Person) Watch() int {
	p.Minutes += watchMinutes
	slots := p.frame(patterns.OneSlot, slotOne, filmed, everyString)
	film := make([][]yard.Colour, 1200)
	for i := range film {
		p.now += 130 * time.Millisecond
		p.y.Frame(p.now, slots)
		film[i] = p.y.Look(nil, p.c.String)
	}
	for k := range film[0] {
		counts := map[yard.Colour]int{}
		usual := film[0][k]
		for _, f := range film {
			if counts[f[k]]++; counts[f[k]] > counts[usual] {
				usual = f[k]
			}
		}
		if slices.ContainsFunc(film, func(f []yard.Colour) bool { return far(f[k], usual) }) {
			return k
		}
	}
	return len(film[0])
}

// Heard reports whether the transmitter hears another sender on the universes.
func (p *Person) Heard() bool {
	for _, f := range p.left {
		if f.Kind == yard.SecondSource {
			return true
		}
	}
	return false
}

func (p *Person) alone(n int) bool { return n == p.c.String }

// Level is how bright the string may be while it is measured.
func (p *Person) Level() float64 {
	duty := make([]float64, p.c.String+1)
	duty[p.c.String] = 1
	pat, _ := patterns.Lookup(patterns.FullWhite)
	return min(1, light.Limit(p.c.Budget, pat, duty).Bound)
}

// lightFor lights the one string for a meter, or a block of it.
func (p *Person) lightFor(level float64, first, last int) {
	pattern, o := patterns.FullWhite, patterns.Options{}
	if first > 0 {
		pattern, o = patterns.Block, patterns.Options{First: first, Last: last}
	}
	slots := p.frame(pattern, o, level, p.alone)
	for range 3 {
		p.now += 60 * time.Millisecond
		p.y.Frame(p.now, slots)
	}
}

// Amps reads a feed, from 0, dark and white. Clamps go round leads at their fuses, on
// the ground.
func (p *Person) Amps(feed int) (dark, white float64) { return p.AmpsOf(feed, false, 0, 0) }

// AmpsOf reads V+ or the return of a feed while a block is lit.
func (p *Person) AmpsOf(feed int, back bool, first, last int) (dark, white float64) {
	p.Minutes += meterMinutes
	amps := p.y.FeedAmps
	if back {
		amps = p.y.ReturnAmps
	}
	p.lightFor(0, 0, 0)
	dark = p.clamp.Read(amps(p.c.String, feed))
	p.lightFor(p.Level(), first, last)
	return dark, p.clamp.Read(amps(p.c.String, feed))
}

// Volts reads a place while it is white: 0 is the supply.
func (p *Person) Volts(pixel int) float64 { return p.VoltsUnder(pixel, 0, 0) }

// VoltsUnder reads a place while a block is lit.
func (p *Person) VoltsUnder(pixel, first, last int) float64 {
	p.lightFor(p.Level(), first, last)
	if pixel == 0 {
		p.Minutes += meterMinutes
		return p.volt.Read(p.y.SupplyVolts(p.string().Feeds[0].Supply))
	}
	p.climb(pixel, meterMinutes)
	return p.volt.Read(p.y.Volts(p.c.String, pixel))
}

// climb counts a way up the ladder, unless it stands there: who reaches out from it does
// not move it.
func (p *Person) climb(pixel int, minutes float64) {
	if p.at < 0 || abs(p.at-pixel) > 2 {
		p.Trips++
		p.Minutes += ladderMinutes
		p.at = pixel
	}
	p.Minutes += minutes
}

func abs(n int) int { return max(n, -n) }

// Try puts a cause right, if it is one of those in the yard.
func (p *Person) Try(g Guess) {
	minutes, ladder := 0.0, false
	for _, k := range g.Kinds { // one cause in several words is one thing to do
		m, l := work(k)
		minutes, ladder = max(minutes, m), ladder || l
	}
	switch {
	case !ladder:
		p.at = -1
		p.Minutes += minutes
	default:
		p.climb(g.pixel(p.string()), minutes)
	}
	p.left = slices.DeleteFunc(slices.Clone(p.left), func(f yard.Fault) bool { return g.is(f, p.string()) })
	p.enter()
}

// pixel is where somebody stands to put a guess right.
func (g Guess) pixel(s *config.String) int {
	if at := g.Feed - 1; at >= 0 && g.Place == 0 {
		return min(max(s.Feeds[at].Address-s.NullPixels, 1), s.Pixels)
	}
	return max(g.Place, 1)
}

// work is what putting a kind right takes, and whether a ladder is needed (common
// practice, no source).
func work(k yard.Kind) (minutes float64, ladder bool) {
	switch k {
	case yard.DeadPixel, yard.DeadChip, yard.DeadColour, yard.BrokenPositive, yard.BrokenReturn, yard.BrokenData, yard.JointPositive, yard.JointReturn, yard.WetJoint:
		return 15, true
	case yard.ThinWire:
		return 40, true
	case yard.JointLead, yard.FeedOff:
		return 10, true
	case yard.LongDataLead, yard.NoReturnBond:
		return 10, false
	case yard.SupplyOff, yard.SupplySag, yard.HotSupply, yard.SwitchStops:
		return 5, false
	}
	return 3, false
}

// takenDown is what it costs when nothing that was advised is the cause: the string
// comes down.
const (
	takenDownMinutes = 60
	takenDownTrips   = 2
)

// shows reports whether anything of the string differs for eyes or meters.
func (p *Person) shows() bool {
	for _, s := range []Sight{p.White()[p.c.String], p.Bright(), p.Low(), p.Dark(), p.Slot(1), p.Slot(2), p.Slot(3), p.Ends()} {
		if s.Where != Fine {
			return true
		}
	}
	if lit := p.Alone(); len(lit) != 1 || lit[0] != p.c.String {
		return true
	}
	meter := p.c.Plan.Meter
	p.lightFor(p.Level(), 0, 0)
	slots := p.frame(patterns.FullWhite, patterns.Options{}, p.Level(), p.alone)
	p.sound.Frame(p.now, slots)
	for f := range p.string().Feeds {
		a, b := p.y.FeedAmps(p.c.String, f), p.sound.FeedAmps(p.c.String, f)
		if math.Abs(a-b) > meter.Error(a) {
			return true
		}
	}
	for pixel := 1; pixel <= p.string().Pixels; pixel++ {
		if math.Abs(p.y.Volts(p.c.String, pixel)-p.sound.Volts(p.c.String, pixel)) > 0.2 {
			return true
		}
	}
	return p.Later()[p.c.String].Where != Fine
}
