package config

// Tolerance is how far the real thing may be from the plan's figures.
type Tolerance struct {
	Marks
	Wire  float64 // of every wire's resistance, as a share, default 0.05
	Joint float64 // ohms of one plug, fuse holder or screwed joint, default 0.02
	Pixel float64 // of a pixel's current, as a share, default 0.10
}

// DefaultTolerance is what is assumed where the plan says nothing: a joint has 10 to 30
// milliohms, wire is within 5 % of its gauge, chips of a batch within 10 % of what was
// measured of one (common practice, no source).
var DefaultTolerance = Tolerance{Wire: 0.05, Joint: 0.020, Pixel: 0.10}

func (d *decoder) tolerance(s *section) {
	t := &d.plan.Tolerance
	t.Wire = s.number("wire", "how far the resistance of wire may be from the plan's, in %", 100*t.Wire, 0, 50, percent) / 100
	t.Joint = s.number("joint_milliohms", "resistance of one plug, fuse holder or screwed joint; every lead, feeder and jumper has two on each conductor", 1000*t.Joint, 0, 1000, bare) / 1000
	t.Pixel = s.number("pixel", "how far a pixel's current may be from amps_per_pixel, in %", 100*t.Pixel, 0, 50, percent) / 100
	s.end()
}
