package yard

import (
	"math/rand/v2"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
)

// A line is one data line: what the port sends down it, and the strings it passes.
type line struct {
	key        config.Line
	controller *controller
	blocks     []block
	strings    []int // as they are plugged in, which may not be as planned

	sent  time.Duration
	ever  bool
	busy  time.Duration // a frame with its reset: the port sends no sooner again
	frame []byte        // as last sent
}

// lineOf finds the data line of a string.
func (y *Yard) lineOf(n int, c *controller) *line {
	s := y.Plan.Strings[n]
	if s.Port != "" {
		for _, l := range y.lines {
			if l.key == s.Line() {
				return l
			}
		}
	}
	l := &line{key: s.Line(), controller: c}
	y.lines = append(y.lines, l)
	return l
}

// swapPorts plugs strings into each other's place.
func (y *Yard) swapPorts() {
	place := func(name string) *int {
		for _, l := range y.lines {
			for i, n := range l.strings {
				if y.Plan.Strings[n].Name == name {
					return &l.strings[i]
				}
			}
		}
		return nil
	}
	for _, f := range y.Faults {
		if f.Kind == SwappedPorts {
			if a, b := place(f.String), place(f.With); a != nil && b != nil {
				*a, *b = *b, *a
			}
		}
	}
	for _, l := range y.lines {
		for _, n := range l.strings {
			p := y.strings[n]
			if p.chip.BitsPerSecond > 0 {
				bits := len(p.alive) * p.chip.BitsPerPixel
				l.busy += time.Duration(float64(bits) / p.chip.BitsPerSecond * float64(time.Second))
			}
			if n == l.strings[0] {
				l.busy += p.chip.Reset
			}
		}
	}
}

// pixels is one string as it hangs: its chips, null pixels and copies included.
type pixels struct {
	plan   *config.String
	index  int
	chip   budget.Chip
	width  int    // bytes that a chip takes
	colour []byte // the letter of each of them
	copies int

	latched []byte // what the chips hold
	alive   []bool // enough volts for the chip itself

	ends   int // chips that data reaches: a break behind them; -1: no break
	passes int // the dead chip, from 0; -1: none
	wet    int // chips ahead of a wet joint; -1: none
	dark   []bool
	noDie  []byte // the dead colour of a pixel's chip; 0: none
}

func (y *Yard) layStrings(b *budget.Budget) {
	for i, s := range y.Plan.Strings {
		p := &pixels{plan: s, index: i, chip: b.Strings[i].Chip, copies: max(s.Copies, 1), ends: -1, passes: -1, wet: -1, colour: []byte(outputs(s))}
		if y.on(i, FourForThree) != nil {
			if len(p.colour) == 3 {
				p.colour = append(p.colour, 'W')
			} else {
				p.colour = []byte(permuted("RGB", 0))
			}
		}
		p.width = len(p.colour)
		n := s.NullPixels + s.Pixels*p.copies
		p.latched, p.alive = make([]byte, n*p.width), make([]bool, n)
		p.dark, p.noDie = make([]bool, n), make([]byte, n)
		for k := range p.alive {
			p.alive[k] = true
		}
		for _, f := range y.byString[i] {
			first := s.NullPixels + (f.Place-1)*p.copies // chip of the pixel
			behind := first + p.copies                   // chips ahead of the joint after it
			switch f.Kind {
			case DeadPixel:
				p.dark[first] = true
			case DeadChip:
				p.dark[first], p.passes = true, first
			case DeadColour:
				p.noDie[first] = "RGB"[int(min(max(f.Severity, 0), 2))]
			case BrokenData:
				p.ends = behind
			case WetJoint:
				p.wet = behind
			}
		}
		y.strings = append(y.strings, p)
	}
}

// reached is how many chips data reaches, and whether it leaves the last one.
func (p *pixels) reached() (n int, through bool) {
	n = len(p.alive)
	if p.ends >= 0 {
		n = min(n, p.ends)
	}
	if p.passes >= 0 {
		n = min(n, p.passes)
	}
	for k, alive := range p.alive[:n] {
		if !alive {
			return k, false
		}
	}
	return n, n == len(p.alive)
}

// send sends a frame, unless the one before it is still on its way.
func (l *line) send(y *Yard) {
	if since := y.now - l.sent; l.ever && since > 0 && since < l.busy {
		return
	}
	l.sent, l.ever = y.now, true
	own := l.controller.own(y)
	l.frame = l.frame[:0]
	for i := range l.blocks {
		l.frame = l.blocks[i].append(l.frame, l.controller, own)
	}
	l.shift(y)
}

// shift passes the frame through the chips: each takes its bytes and hands on the
// rest. A chip that gets none holds what it has.
func (l *line) shift(y *Yard) {
	data := append([]byte(nil), l.frame...)
	for _, n := range l.strings {
		p := y.strings[n]
		g := y.groups[y.groupOf[n]]
		g.solved = false
		y.spoil(p, data)
		reach, through := p.reached()
		if f := y.on(n, WrongChip); f != nil {
			p.otherChip(y, f)
			data = nil
			continue
		}
		whole := min(reach, len(data)/p.width)
		copy(p.latched, data[:whole*p.width])
		if !through {
			data = nil
		}
		data = data[min(len(data), len(p.alive)*p.width):]
	}
}

// spoil does to the data what a lead, a bond or a wet joint does.
func (y *Yard) spoil(p *pixels, data []byte) {
	if f := y.on(p.index, LongDataLead); f != nil {
		y.disturb(p, data, 0, f.Severity)
	}
	if f := y.on(p.index, NoReturnBond); f != nil { // the more current, the further the levels are apart
		y.disturb(p, data, 0, f.Severity*min(1, p.amps()/2))
	}
	if p.wet >= 0 {
		y.disturb(p, data, p.wet, 0.2)
	}
}

// disturb spoils a share of the frames past a chip: some bits flip, and often one
// is lost, so that all behind it are out of place (common practice, no source).
func (y *Yard) disturb(p *pixels, data []byte, from int, share float64) {
	r := y.chance(forData, y.frame*4096+uint64(p.index))
	if r.Float64() >= share || from*p.width >= len(data) {
		return
	}
	at := from*p.width + r.IntN(len(data)-from*p.width)
	data[at] ^= 1 << r.IntN(8)
	if r.IntN(2) == 0 {
		loseBit(data[at:])
	}
}

func loseBit(data []byte) {
	for i := range data {
		data[i] <<= 1
		if i+1 < len(data) {
			data[i] |= data[i+1] >> 7
		}
	}
}

// otherChip is a string whose chips expect another speed: they read nothing, or
// noise (common practice, no source).
func (p *pixels) otherChip(y *Yard, f *Fault) {
	r := y.chance(forWrongChip, y.frame*4096+uint64(p.index))
	if r.Float64() >= f.Severity {
		return
	}
	random(r, p.latched)
}

func random(r *rand.Rand, b []byte) {
	for i := range b {
		b[i] = byte(r.UintN(256))
	}
}

// own is what the controller shows in place of what it receives; nil: nothing.
func (c *controller) own(y *Yard) look {
	if f := c.has(Frozen); f != nil {
		level := byte(255 * min(max(f.Severity, 0), 1))
		return func(in []byte, _ int) {
			for i := range in {
				in[i] = level
			}
		}
	}
	if c.has(OwnTest) != nil || c.lost && c.plan != nil && c.plan.OnLoss == config.OnLossOwnPattern {
		lit := int(y.now/time.Second) % 3 // one channel after the other
		return func(in []byte, _ int) {
			clear(in)
			in[lit%len(in)] = 80
		}
	}
	return nil
}
