package rehearsal

import (
	"math"
	"math/rand/v2"
	"time"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
)

// What a helper can be asked to notice: a lamp that differs by so much of 255, volts
// and amperes beyond what the meters' own errors may hide (common practice, no source).
const (
	plainLight = 16
	plainVolts = 0.15
	plainAmps  = 0.15
)

// shows reports whether a fault can be found at all: some lamp, or some reading,
// differs from those of the same yard without it. What needs minutes shows in time.
func (r *Rehearsal) shows(f yard.Fault) (bool, error) {
	if f.Kind == yard.HotSupply || f.Kind == yard.SwitchStops {
		return true, nil
	}
	var yards [2]*yard.Yard
	for i, faults := range [][]yard.Fault{nil, {f}} {
		y, err := yard.New(r.cfg.Plan, r.cfg.Budget, yard.Options{Seed: r.cfg.Seed, Faults: faults})
		if err != nil {
			return false, err
		}
		yards[i] = y
	}
	rng := rand.New(rand.NewPCG(r.cfg.Seed, 8))
	for n := range 40 {
		frame := r.frame(func() byte { return byte(rng.IntN(77)) })
		if n >= 20 { // white at 30 %
			frame = r.frame(func() byte { return 77 })
		}
		at := time.Duration(n) * refreshEvery
		yards[0].Frame(at, frame)
		yards[1].Frame(at, frame)
		if differ(r.cfg.Plan, yards[0], yards[1], n == 39) {
			return true, nil
		}
	}
	return false, nil
}

// frame fills the slots of every universe of the plan.
func (r *Rehearsal) frame(slot func() byte) [][]byte {
	var all [][]byte
	for _, u := range r.cfg.Plan.Map().Universes {
		slots := make([]byte, u.Channels)
		for i := range slots {
			slots[i] = slot()
		}
		all = append(all, slots)
	}
	return all
}

func differ(p *config.Plan, a, b *yard.Yard, meters bool) bool {
	far := func(a, b, most float64) bool { return math.Abs(a-b) > most }
	for n, s := range p.Strings {
		left, right := a.Look(nil, n), b.Look(nil, n)
		for i := range left {
			l, r := left[i], right[i]
			if far(float64(l.R), float64(r.R), plainLight) || far(float64(l.G), float64(r.G), plainLight) ||
				far(float64(l.B), float64(r.B), plainLight) || far(float64(l.W), float64(r.W), plainLight) {
				return true
			}
		}
		if !meters {
			continue
		}
		for _, pixel := range []int{1, (s.Pixels + 1) / 2, s.Pixels} {
			if far(a.Volts(n, pixel), b.Volts(n, pixel), plainVolts) {
				return true
			}
		}
		for feed := range s.Feeds {
			if far(a.FeedAmps(n, feed), b.FeedAmps(n, feed), plainAmps) {
				return true
			}
		}
	}
	return false
}
