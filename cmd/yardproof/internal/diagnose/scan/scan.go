// Package scan finds a bad joint from the ground: light is a load that can be moved
// along a string, and a meter at one end sees what the wire does with it. It knows
// wire, current and the errors of a meter; it refuses to know about patterns, sockets
// and sentences.
//
// A string with one feed is read with a voltmeter at its other end. Nothing is drawn
// there, so that every volt between the supply and the meter is lost by the block's
// current on its way: two blocks side by side differ by the milliohms between them.
// A string fed at both ends is read with a clamp at the first feed: a block's current
// comes from both sides, and the share of each is the resistance on the other's side.
// A clamp round V+ knows nothing of the return, and the other way round.
//
// The method is least squares on Ohm's and Kirchhoff's laws, weighed by Bayes' rule
// over every place and size of one joint; what a meter is off by, in gain and at
// nought, is unknown and common to its readings.
package scan

import (
	"errors"
	"fmt"
	"math"

	"yardproof/config"
	"yardproof/config/budget"
)

// Quantity is what is read.
type Quantity string

// The quantities.
const (
	Volts Quantity = "volts" // between V+ and return, at the end without a feed
	Amps  Quantity = "amps"  // in the positive conductor of the first feed
)

// Line is the part of a string that a scan covers. Its nodes run from the feed to the
// meter, or from the first feed to the second.
type Line struct {
	Quantity Quantity
	At       int  // lit pixel that the volts are read at, or the first feed's
	From, To int  // lit pixels that blocks may lie on
	Most     int  // pixels of the longest block
	Back     bool // nodes run from the far end of the data to its near end

	ohms  []float64 // from the first node's supply to each node: of the loop, of one conductor where there are two feeds
	whole float64   // ohms from supply to supply; 0: one feed
	add   []float64 // amperes that a node draws more when it is lit
	idle  []float64
	pixel []int // lit pixel of each node; 0: none
	volts float64
	load  config.LoadKind
}

// ErrNot is wrapped by the reasons why a string cannot be scanned.
var ErrNot = errors.New("cannot be scanned")

// NewLine lays out a string of a plan. Blocks are at most so long.
func NewLine(p *config.Plan, b *budget.Budget, s *config.String, most int) (*Line, error) {
	if b == nil {
		return nil, fmt.Errorf("%s %w: the plan has errors, correct them first", s.Name, ErrNot)
	}
	w, ok := b.Wiring(s.Index)
	switch {
	case !ok:
		return nil, fmt.Errorf("%s %w: the plan does not give its pitch, its amps_per_pixel and its volts", s.Name, ErrNot)
	case len(w.Cuts) > 0:
		return nil, fmt.Errorf("%s %w: its V+ is cut, read the volts of each piece instead", s.Name, ErrNot)
	case len(w.Feeds) > 2:
		return nil, fmt.Errorf("%s %w: it has %d feeds; with the power off take out the fuses of all but the first and the last", s.Name, ErrNot, len(w.Feeds))
	}
	l := &Line{Most: most, volts: s.Volts, load: b.Strings[s.Index].Chip.Load}
	last := len(w.Ohms) - 1
	first, end := w.Feeds[0], last
	lead := budget.LeadOhms(p, s, s.Feeds[0])
	conductors := 2.0
	if len(w.Feeds) == 1 {
		l.Quantity = Volts
		lead += budget.FeederOhms(p, s.Feeds[0].Feeder)
		if l.Back = first > last-first; l.Back {
			end = 0
		}
	} else {
		l.Quantity, conductors = Amps, 1
		end = w.Feeds[1]
		l.Back = first > end
		second := budget.LeadOhms(p, s, s.Feeds[1])
		if f, g := s.Feeds[0].Feeder, s.Feeds[1].Feeder; f == nil || f != g { // one that both hang on is before either
			lead, second = lead+budget.FeederOhms(p, f), second+budget.FeederOhms(p, g)
		}
		l.whole = lead + second + math.Abs(w.Ohms[end]-w.Ohms[first])
	}
	lead *= conductors
	step := 1
	if l.Back {
		step = -1
	}
	for k := first; ; k += step {
		l.ohms = append(l.ohms, lead+conductors*math.Abs(w.Ohms[k]-w.Ohms[first]))
		l.add = append(l.add, (w.White[k]-w.Idle[k])*s.Brightness)
		l.idle = append(l.idle, w.Idle[k])
		l.pixel = append(l.pixel, w.Pixel(k))
		if at := w.Pixel(k); at > 0 {
			if l.From == 0 || at < l.From {
				l.From = at
			}
			l.To, l.At = max(l.To, at), at
		}
		if k == end {
			break
		}
	}
	if l.To-l.From < 3 {
		return nil, fmt.Errorf("%s %w: there are too few pixels between the feed and the meter", s.Name, ErrNot)
	}
	if l.Quantity == Amps {
		l.At = max(1, w.Pixel(first))
	}
	l.Most = max(1, min(l.Most, l.To-l.From+1))
	l.heed()
	return l, nil
}

// heed shortens the longest block until it costs a tenth of the volts at most at the
// far end: below that drivers drop out, and a block no longer draws what it should.
func (l *Line) heed() {
	for l.Quantity == Volts && l.Most > 1 {
		far := Block{l.To - l.Most + 1, l.To}
		if l.Back {
			far = Block{l.From, l.From + l.Most - 1}
		}
		if d := l.drawn(far); l.reads(d, 0, 0) <= 0.1*l.volts {
			return
		}
		l.Most--
	}
}
