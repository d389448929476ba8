// Package yard is a yard that is not there: controllers that receive E1.31, the
// strings on their ports chip by chip, wire, fuses and supplies, what an eye and a
// meter would find, and the faults that were planted in it. It refuses to know what
// the program says about faults: it imports nothing that judges or diagnoses, so
// that these can be tried on it. Time comes as a parameter, chance from a seed.
package yard

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
)

// Options are what differs between two yards of one plan.
type Options struct {
	Seed   uint64 // of everything that is left to chance
	Faults []Fault

	// LastPacket makes receivers show whatever arrived last, whoever sent it;
	// otherwise the source of the highest priority wins (E1.31 6.2.3).
	LastPacket bool
}

// Yard is one such yard. It is not safe for concurrent use.
type Yard struct {
	Plan   *config.Plan
	Faults []Fault

	now         time.Duration
	frame       uint64 // refreshes so far
	packets     uint64 // packets so far
	seed        uint64
	lastPacket  bool
	byString    [][]Fault // faults planted on the string itself, or on what it hangs on
	controllers []*controller
	lines       []*line
	strings     []*pixels
	groups      []*group
	groupOf     []int // by string
	supplies    []*supply
	hot         bool // a supply may trip
}

// New lays out the yard of a plan, whose budget says what its chips draw. It fails
// for faults that the plan has no place for.
func New(p *config.Plan, b *budget.Budget, o Options) (*Yard, error) {
	y := &Yard{Plan: p, Faults: slices.Clone(o.Faults), seed: o.Seed, lastPacket: o.LastPacket, byString: make([][]Fault, len(p.Strings))}
	for _, f := range y.Faults {
		if err := f.check(p); err != nil {
			return nil, err
		}
		y.spread(f)
	}
	if len(b.Strings) != len(p.Strings) {
		return nil, fmt.Errorf("the budget is of another plan")
	}
	y.layStrings(b)
	y.layControllers()
	y.layCircuit()
	return y, nil
}

// spread notes a fault at every string that it reaches.
func (y *Yard) spread(f Fault) {
	info, _ := Lookup(f.Kind)
	at := y.Plan.Find(f.String)
	for i, s := range y.Plan.Strings {
		switch {
		case s == at, info.Swap && s.Name == f.With,
			info.Reach == OfController && s.Controller != nil && s.Controller == at.Controller:
			y.byString[i] = append(y.byString[i], f)
		}
	}
}

// on returns the first fault of a kind at a string; nil: there is none.
func (y *Yard) on(n int, k Kind) *Fault {
	for i, f := range y.byString[n] {
		if f.Kind == k {
			return &y.byString[n][i]
		}
	}
	return nil
}

// severity is that of the fault of a kind at a string; 0: there is none.
func (y *Yard) severity(n int, k Kind) float64 {
	if f := y.on(n, k); f != nil {
		return f.Severity
	}
	return 0
}

// chance returns a source of chance for one purpose, the same for the same seed.
func (y *Yard) chance(purpose, n uint64) *rand.Rand {
	return rand.New(rand.NewPCG(y.seed^purpose<<56, n))
}

// What chance is for.
const (
	forData uint64 = iota + 1
	forWrongChip
	forMeters
)

// Frame is one frame of the plan's own source: the slots of each universe, in the
// order of the plan's address map, as packets would bring them at a moment. The
// ports send it on at once.
func (y *Yard) Frame(at time.Duration, slots [][]byte) {
	for i, u := range y.Plan.Map().Universes {
		if i < len(slots) {
			y.deliver(at, u.Address, u.Number, source{priority: uint8(y.Plan.Source.Priority)}, slots[i])
		}
	}
	y.Refresh(at)
}

// Now is the time of the last frame or refresh.
func (y *Yard) Now() time.Duration { return y.now }

// Refresh lets every controller send what it has to its strings. Real ones do so
// 20 to 50 times a second, whether or not packets come.
func (y *Yard) Refresh(at time.Duration) {
	step := at - y.now
	y.now = at
	y.frame++
	if y.hot {
		y.warm(step)
	}
	for _, c := range y.controllers {
		c.arbitrate(y)
	}
	for _, l := range y.lines {
		l.send(y)
	}
}

// Skip lets time pass in which packets went on arriving: who walks and climbs
// watches no frames.
func (y *Yard) Skip(d time.Duration) {
	if y.hot {
		y.warm(d)
	}
	y.now += d
	for _, c := range y.controllers {
		for address := range c.synced {
			c.synced[address] += d
		}
		for _, r := range c.receives {
			for i := range r.sources {
				r.sources[i].heard += d
			}
		}
	}
	for _, l := range y.lines {
		l.sent += d
	}
}
