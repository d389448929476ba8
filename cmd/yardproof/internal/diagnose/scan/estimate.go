package scan

import "math"

// What is not known of a meter and of a string, besides its joint: standard deviations
// (common practice, no source).
const (
	currentGive = 0.20  // of a pixel's current beside the plan's, and with it the meter's gain and the wire's ohms
	leadGive    = 0.04  // ohms of a lead, its fuse and its plugs beside the plan's
	zeroGive    = 0.1   // amperes: a clamp's zero, with what passes it besides
	supplyGive  = 0.1   // of the volts: the supply's, with the meter's gain and zero
	wireGive    = 0.002 // ohms by which the way to a block differs from what gain and lead make of the plan's
)

// Steps of usual meters: the least digit.
const (
	voltsStep = 0.01
	ampsStep  = 0.01
)

// sizes are the ohms of joints that are weighed. What is less stands out of nothing.
var sizes = [...]float64{0.022, 0.033, 0.047, 0.068, 0.1, 0.15, 0.22, 0.33, 0.47, 0.68, 1, 1.5}

// priorJoint is the odds of a bad joint before the first reading: somebody looks for
// one (common practice, no source).
const priorJoint = 0.5

// hypothesis is one joint, or none, with what the readings make of it.
type hypothesis struct {
	joint  int // node behind it; -1: none
	ohms   float64
	weight float64 // posterior
	fit    fit
}

// fit is a line through the readings: nought, gain and lead, with what is known of them.
type fit struct {
	mean   [3]float64
	spread [3][3]float64 // covariance
	log    float64       // log of the evidence
	misfit float64       // sum of squares, in units of the noise
}

// state is what the readings tell so far.
type state struct {
	line  *Line
	given []drawn
	value []float64
	all   []hypothesis
}

func (l *Line) weigh(readings []Reading) *state {
	s := &state{line: l}
	for _, r := range readings {
		s.given, s.value = append(s.given, l.drawn(r.Block)), append(s.value, r.Value)
	}
	s.all = append(s.all, hypothesis{joint: -1, weight: math.Log(1 - priorJoint)})
	each := math.Log(priorJoint / float64(len(l.ohms)*len(sizes)))
	for k := range l.ohms {
		if k == 0 && l.Quantity == Amps { // the same as a pixel that draws less
			continue
		}
		for _, ohms := range sizes {
			s.all = append(s.all, hypothesis{joint: k, ohms: ohms, weight: each})
		}
	}
	best := math.Inf(-1)
	for i := range s.all {
		h := &s.all[i]
		h.fit = s.fit(h)
		h.weight += h.fit.log
		best = max(best, h.weight)
	}
	sum := 0.0
	for i := range s.all {
		s.all[i].weight = math.Exp(s.all[i].weight - best)
		sum += s.all[i].weight
	}
	for i := range s.all {
		s.all[i].weight /= sum
	}
	return s
}

// noise is the variance of a reading of so many amperes that no joint, gain or lead
// explains: of the last digit, and of wire that is not even.
func (l *Line) noise(d drawn) float64 {
	step := ampsStep
	if l.Quantity == Volts {
		step = voltsStep
	}
	wire := wireGive * d.whole
	if l.Quantity == Amps { // a part of it goes the other way
		wire /= max(l.whole, wireGive)
	}
	return step*step/12 + wire*wire
}

// row is what a reading depends on: nought, the meter's gain with the pixels' current,
// and the lead.
func (s *state) row(d drawn, h *hypothesis) [3]float64 {
	reads := s.line.reads(d, max(0, h.joint), h.ohms)
	if s.line.Quantity == Volts {
		return [3]float64{1, -reads, -d.whole}
	}
	return [3]float64{1, reads, d.whole}
}

func (s *state) priors() (mean, spread [3]float64) {
	if s.line.Quantity == Volts {
		return [3]float64{s.line.volts, 1, 0}, [3]float64{supplyGive * s.line.volts, currentGive, leadGive}
	}
	return [3]float64{0, 1, 0}, [3]float64{zeroGive, currentGive, leadGive}
}

// fit is the regression of the readings on their rows, with what was known before.
func (s *state) fit(h *hypothesis) fit {
	mean, spread := s.priors()
	var f fit
	f.mean = mean
	for i := range f.spread {
		f.spread[i][i] = spread[i] * spread[i]
	}
	for i, d := range s.given { // one reading after the other, as a Kalman filter does
		x := s.row(d, h)
		var px [3]float64
		for a := range px {
			for b := range px {
				px[a] += f.spread[a][b] * x[b]
			}
		}
		off, vary := s.value[i], s.line.noise(d)
		for a := range px {
			off -= x[a] * f.mean[a]
			vary += x[a] * px[a]
		}
		f.log -= off*off/vary/2 + math.Log(vary)/2
		f.misfit += off * off / vary
		for a := range px {
			f.mean[a] += px[a] * off / vary
			for b := range px {
				f.spread[a][b] -= px[a] * px[b] / vary
			}
		}
	}
	return f
}

// expects is the value and the variance of a reading of a block, if a hypothesis holds.
func (s *state) expects(d drawn, h *hypothesis) (value, vary float64) {
	x := s.row(d, h)
	vary = s.line.noise(d)
	for a := range x {
		value += x[a] * h.fit.mean[a]
		for b := range x {
			vary += x[a] * x[b] * h.fit.spread[a][b]
		}
	}
	return value, vary
}
