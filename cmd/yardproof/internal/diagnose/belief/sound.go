package belief

import "math"

// harmlessVolts is what a string may lose besides, and nobody sees it (common practice,
// no source).
const harmlessVolts = 0.15

// sound is how likely nothing is wrong that would matter.
func (m *model) sound() float64 {
	sum := 0.0
	for i := range m.all {
		if h := &m.all[i]; h.harmless {
			sum += m.share[i]
		}
	}
	return sum
}

// harms reports whether a hypothesis takes volts or current that matter, or light.
func (m *model) harms(h *hypothesis) bool {
	switch h.cause.Kind {
	case Well, PlanAmps:
		return false
	case Joint, ThinWire:
	default:
		return true
	}
	if h.elec == nil {
		return true
	}
	for i, v := range h.elec.volts {
		if math.Abs(v-m.wire.sound.volts[i]) > harmlessVolts {
			return true
		}
	}
	return h.bright != Fine
}
