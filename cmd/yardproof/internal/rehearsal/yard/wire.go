package yard

import (
	"math"

	"yardproof/config"
)

// What wire is made of: copper of 0.017241 ohm mm² a metre at 20 °C (IEC 60028),
// 0.393 % more for each degree (NBS Handbook 100, from memory); copper-clad
// aluminium has 1.55 times that (common practice, no source).
const (
	copper     = 0.017241
	perDegree  = 0.00393
	clad       = 1.55
	leastOhms  = 1e-5  // a wire of no length
	closedGap  = 1e-10 // siemens that are left of what is broken
	strayLeak  = 1e-7  // siemens across each pixel: what floats has no volts then
	referenceC = 20
)

// ohms is the resistance of one conductor of a wire over its length.
func ohms(w config.Wire, celsius float64) float64 {
	metal := 1.0
	if w.Metal == config.CCA {
		metal = clad
	}
	perMetre := 0.0
	switch {
	case w.HasAWG: // ASTM B258: 0.127 mm at gauge 36, 92^(1/39) a step
		d := 0.127 * math.Pow(92, float64(36-w.AWG)/39)
		perMetre = metal * copper / (math.Pi / 4 * d * d)
	case w.MM2 > 0:
		perMetre = metal * copper / w.MM2
	case w.Milliohms > 0:
		perMetre = w.Milliohms / 1000 // as measured: the metal is in it
	}
	return max(perMetre*w.Metres*(1+perDegree*(celsius-referenceC)), leastOhms)
}
