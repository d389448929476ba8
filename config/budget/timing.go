package budget

import (
	"math"
	"time"

	"yardproof/config"
)

// Port is one data line and the time that a frame takes on it. Strings chained
// on one port share its line; receivers chained on one link share the budget of
// each of their outputs.
type Port struct {
	Controller string  `json:"controller"`
	Port       string  `json:"port"`
	Output     string  `json:"output,omitempty"`
	Pixels     int     `json:"pixels"`                // on the line, null pixels and copies included
	RefreshMS  float64 `json:"refresh_ms,omitempty"`  // 0: not known
	MaxRateHz  float64 `json:"max_rate_hz,omitempty"` // 0: not known
	Strings    []int   `json:"-"`                     // indices in the plan, in its order

	Refresh time.Duration `json:"-"` // exact, in whole nanoseconds; 0: not known
}

type portKey struct {
	controller   *config.Controller
	port, output string
}

// LinePixels is how many pixels a string puts on its data line, null pixels and copies
// included.
func LinePixels(s *config.String) int { return s.NullPixels + s.Pixels*max(s.Copies, 1) }

// frameTime returns the nanoseconds that n pixels of the chip take, without the
// reset, rounded up; false when the chip's rate or bits are not known.
func (c Chip) frameTime(n int) (time.Duration, bool) {
	if c.BitsPerSecond <= 0 || c.BitsPerPixel <= 0 {
		return 0, false
	}
	bits := n * c.BitsPerPixel
	if c.frameBits != nil {
		bits = c.frameBits(n)
	}
	// Several of the trade's limits land exactly on the frame period, so the
	// rounding must not add a nanosecond to a whole number.
	ns := math.Ceil(float64(bits)*1e9/c.BitsPerSecond - 1e-6)
	return time.Duration(ns), true
}

func (b *Budget) ports() {
	index := map[portKey]int{}
	unknown := map[int]bool{}
	reset := map[int]time.Duration{}
	// Chips of one kind on a line count as one run: what a clocked chip needs at
	// the end of a frame is not a sum over strings.
	type run struct {
		port int
		chip string
		rate float64
		bits int
	}
	pixels, chips := map[run]int{}, map[run]Chip{}
	var runs []run

	for i, s := range b.plan.Strings {
		c := b.Strings[i].Chip
		if s.Controller == nil || s.Port == "" || c.Wires == 0 {
			continue
		}
		key := portKey{s.Controller, s.Port, s.Output}
		at, ok := index[key]
		if !ok {
			at = len(b.Ports)
			index[key] = at
			b.Ports = append(b.Ports, Port{Controller: s.Controller.Name, Port: s.Port, Output: s.Output})
		}
		p := &b.Ports[at]
		p.Strings = append(p.Strings, i)
		p.Pixels += LinePixels(s)
		if !c.HasReset {
			unknown[at] = true
		}
		reset[at] = max(reset[at], c.Reset)
		r := run{at, c.Name, c.BitsPerSecond, c.BitsPerPixel}
		if _, ok := chips[r]; !ok {
			chips[r] = c
			runs = append(runs, r)
		}
		pixels[r] += LinePixels(s)
	}
	for _, r := range runs {
		t, ok := chips[r].frameTime(pixels[r])
		if !ok {
			unknown[r.port] = true
		}
		b.Ports[r.port].Refresh += t
	}
	for i := range b.Ports {
		p := &b.Ports[i]
		p.Refresh += reset[i]
		if unknown[i] || p.Refresh <= 0 {
			p.Refresh = 0
			continue
		}
		p.RefreshMS = float64(p.Refresh) / 1e6
		p.MaxRateHz = 1e9 / float64(p.Refresh)
	}
}

// fits reports whether a line can be refreshed at the plan's rate.
func (p Port) fits(rate float64) bool {
	return p.Refresh == 0 || rate <= 0 || float64(p.Refresh) <= 1e9/rate*(1+1e-12)
}

// LineTime is how long a frame of so many pixels of one chip takes on a data line, its
// reset included; false when that is not known.
func (c Chip) LineTime(pixels int) (time.Duration, bool) {
	t, ok := c.frameTime(pixels)
	return t + c.Reset, ok && c.HasReset
}
