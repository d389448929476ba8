package budget

import (
	"math"
	"slices"

	"yardproof/config"
)

// A law is how a string's pixels draw current.
type law struct {
	kind    config.LoadKind
	nominal float64 // volts at which a pixel draws its stated amperes
	fade    Fade
}

// at returns what a pixel of so many nominal amperes draws at v volts, and how
// that changes with the volts.
func (w law) at(amps, v float64, m mode) (current, slope float64) {
	switch {
	case amps == 0 || m == constant:
	case w.kind == config.LoadPower && w.nominal > 0:
		p := amps * w.nominal
		return p / v, -p / (v * v)
	case m == careful:
	case w.kind == config.LoadResistor && w.nominal > 0:
		return amps / w.nominal * v, amps / w.nominal
	case w.kind == config.LoadCurrent && w.fade.ZeroVolts > 0 && v < w.fade.LowestVolts:
		if v <= w.fade.ZeroVolts {
			return 0, 0
		}
		slope = amps / (w.fade.LowestVolts - w.fade.ZeroVolts)
		return slope * (v - w.fade.ZeroVolts), slope
	}
	return amps, 0
}

const (
	settled    = 1e-8 // volts: a step below this ends the iteration
	maxNewton  = 60
	maxHalving = 20
)

// solve finds the state of the group when each pixel draws by the mode; draw
// gives each node's nominal amperes. It reports false when there is no state: a
// switching regulator that cannot get its power pulls its volts down for good.
//
// It is Newton's method. From the volts of the unloaded wire downwards it cannot
// step past the state that regulators settle in, since their current is a convex
// function of the volts. Dropout is not convex, but the whole is then the
// gradient of a convex energy, and halving any step that runs past the valley's
// floor makes it converge.
func (g *group) solve(active []*ladder, draw func(l *ladder, node int) float64, m mode) bool {
	nominal := make([][]float64, len(active))
	plain := true
	for i, l := range active {
		l.slope = nil
		for k := range l.amps {
			l.amps[k] = draw(l, k)
		}
		plain = plain && l.law.linear(m)
		nominal[i] = nil
	}
	if plain {
		if !g.linear(active) {
			return false
		}
		for _, l := range active {
			l.read()
		}
		return true
	}
	for i, l := range active {
		nominal[i] = slices.Clone(l.amps)
		clear(l.amps)
		clear(l.passed)
	}
	if !g.linear(active) {
		return false
	}
	for _, l := range active {
		l.read()
		l.slope = make([]float64, l.nodes)
	}
	defer func() {
		for _, l := range active {
			l.slope = nil
		}
	}()
	before := make([][]float64, len(active)) // volts
	flow := make([][]float64, len(active))   // what the linearised loads would take
	for i, l := range active {
		before[i] = make([]float64, l.nodes)
		flow[i] = make([]float64, l.nodes)
	}
	for range maxNewton {
		down := 0.0 // how fast the energy falls along the step
		for i, l := range active {
			copy(before[i], l.volt)
			for k, a := range nominal[i] {
				amps, slope := l.law.at(a, l.volt[k], m)
				l.slope[k] = slope
				l.amps[k] = amps - slope*l.volt[k]
			}
		}
		if !g.linear(active) {
			return false
		}
		step := 0.0
		for i, l := range active {
			l.read()
			for k, v := range l.volt {
				d := v - before[i][k]
				step = max(step, math.Abs(d))
				amps, _ := l.law.at(nominal[i][k], before[i][k], m)
				down += (amps - l.passed[k]) * d
				flow[i][k] = l.amps[k] + l.slope[k]*v
				if !(v > 0) && l.law.kind == config.LoadPower && nominal[i][k] > 0 {
					return false
				}
			}
		}
		if step < settled {
			return true
		}
		share := 1.0
		for range maxHalving {
			slope := 0.0
			for i, l := range active {
				for k, v := range l.volt {
					d := v - before[i][k]
					amps, _ := l.law.at(nominal[i][k], before[i][k]+share*d, m)
					slope += (amps - l.passed[k] - share*(flow[i][k]-l.passed[k])) * d
				}
			}
			if slope <= math.Abs(down)/2 {
				break
			}
			share /= 2
		}
		for i, l := range active {
			for k := range l.volt {
				l.volt[k] = before[i][k] + share*(l.volt[k]-before[i][k])
				l.passed[k] += share * (flow[i][k] - l.passed[k])
			}
		}
	}
	return false
}

// linear reports whether pixels draw the same at any volts.
func (w law) linear(m mode) bool {
	switch {
	case m == constant:
		return true
	case w.kind == config.LoadPower:
		return w.nominal <= 0
	case m == careful:
		return true
	case w.kind == config.LoadResistor:
		return w.nominal <= 0
	}
	return w.fade.ZeroVolts <= 0
}
