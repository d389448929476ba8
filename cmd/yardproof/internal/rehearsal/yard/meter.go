package yard

import "math"

// Meter is one meter. Its errors are its own and the same in all its readings.
type Meter struct {
	Gain   float64 // share that it reads too much
	Offset float64 // amperes or volts that it reads too much
	Step   float64 // its last digit; 0: it shows all
}

// Read is what the meter shows of a true value.
func (m Meter) Read(v float64) float64 {
	v = v*(1+m.Gain) + m.Offset
	if m.Step > 0 {
		v = math.Round(v/m.Step) * m.Step
	}
	return v
}

// Meters returns a clamp and a voltmeter whose errors are drawn by the yard's seed,
// evenly within what they may have: the clamp's is the plan's, a voltmeter is taken
// to be within 0.5 % and 10 mV (common practice, no source).
func (y *Yard) Meters() (clamp, volt Meter) {
	r := y.chance(forMeters, 0)
	draw := func(most float64) float64 { return most * (2*r.Float64() - 1) }
	clamp = Meter{Gain: draw(y.Plan.Meter.Share), Offset: draw(y.Plan.Meter.Fixed), Step: 0.01}
	volt = Meter{Gain: draw(0.005), Offset: draw(0.01), Step: 0.01}
	return clamp, volt
}
