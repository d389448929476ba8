package budget

import (
	"fmt"
	"math"
	"slices"

	"yardproof/config"
)

const (
	// Annealed copper at 20 degrees Celsius, ohm millimetre² for each metre
	// (100 % IACS; IEC 60028, NBS Handbook 100).
	copperResistivity = 0.017241
	// Of copper's resistance for each degree, at 20 degrees (NBS Handbook 100
	// section 1.1, from memory, unchecked).
	copperCoefficient = 0.00393
	// Copper-clad aluminium against copper of the same size: 1.5 to 1.6 (common
	// practice, no source).
	claddingFactor = 1.55
	// Stands for a lead of no length. It is far below what any joint has, moves
	// no figure by a microvolt, and spares the solver a second kind of feed.
	noLengthOhms = 1e-8
	// The least from pixel to pixel: a millimetre of 6 AWG. Less would drown the
	// volts of what lies behind in rounding.
	noPitchOhms = 1e-6
)

// gaugeArea returns the cross-section of a solid wire in mm² (ASTM B258: 36 AWG
// is 0.127 mm across, and 39 gauges are a factor of 92).
func gaugeArea(awg int) float64 {
	d := 0.127 * math.Pow(92, float64(36-awg)/39)
	return math.Pi * d * d / 4
}

// ohmsPerMetre returns the resistance of one conductor of the wire for each
// metre at a temperature in degrees Celsius; 0 when the wire is not known.
func ohmsPerMetre(w config.Wire, celsius float64) float64 {
	warm := 1 + copperCoefficient*(celsius-20)
	if w.Milliohms > 0 {
		return w.Milliohms / 1000 * warm // as measured or printed: the metal is in it
	}
	area := wireArea(w)
	if area == 0 {
		return 0
	}
	r := copperResistivity / area * warm
	if w.Metal == config.CCA {
		r *= claddingFactor
	}
	return r
}

// wireOhms is the resistance of one conductor over its whole length.
func wireOhms(w config.Wire, celsius float64) float64 { return ohmsPerMetre(w, celsius) * w.Metres }

// wireArea is the copper section of one conductor in mm²; 0 when unknown.
func wireArea(w config.Wire) float64 {
	switch {
	case w.HasAWG:
		return gaugeArea(w.AWG)
	case w.MM2 > 0:
		return w.MM2
	case w.Milliohms > 0:
		return copperResistivity / (w.Milliohms / 1000)
	}
	return 0
}

// An ampacity is the biggest fuse that a gauge may have behind it.
type ampacity struct {
	awg   int
	amps  float64
	basis string
}

const (
	nec725 = "NEC 725.43 (2008)"                                // read
	nec240 = "NEC 240.4(D), from memory, unchecked"             //
	nfpa79 = "NFPA 79 table 12.5.1, from memory, unchecked"     // its 18 and 16 AWG agree with NEC 725.43
	byArea = "by its area, between the gauges of that standard" //
)

var ampacities = []ampacity{ // by falling section
	{10, 30, nec240}, {12, 20, nec240}, {14, 15, nec240},
	{16, 10, nec725}, {18, 7, nec725},
	{20, 5, nfpa79}, {22, 3, nfpa79}, {24, 2, nfpa79}, {26, 1, nfpa79}, {28, 0.8, nfpa79},
}

// Ampacity returns the biggest fuse in amperes that the wire may have behind it,
// and what that rests on; 0 when the wire is unknown. A wire between two gauges
// is judged by its area, one beyond the list by the nearest current density, and
// copper-clad aluminium by the heat it makes.
func Ampacity(w config.Wire) (amps float64, basis string) {
	i := slices.IndexFunc(ampacities, func(a ampacity) bool { return w.HasAWG && a.awg == w.AWG })
	if i >= 0 { // most wire: spare it the powers
		amps, basis = ampacities[i].amps, ampacities[i].basis
	} else if area := wireArea(w); area > 0 {
		amps, basis = copperMayCarry(area)
	} else {
		return 0, ""
	}
	if w.Metal == config.CCA {
		amps /= math.Sqrt(claddingFactor) // the same watts in each metre
		basis += ", less for copper-clad aluminium"
	}
	return amps, basis
}

// Wire's insulation is taken to bear 75 °C (common practice, no source), and the table to
// stand for air of 30 °C. Above, the current that heats it to no more falls with the root
// of what is left (NEC 310.15, the equation for other ambients, from memory, unchecked).
const (
	insulationBears = 75.0
	wireRatedAt     = 30.0
)

// wireAtHeat is the part of its ampacity that a wire keeps at a temperature.
func wireAtHeat(celsius float64) float64 {
	return max(math.Sqrt(max(0, insulationBears-max(celsius, wireRatedAt))/(insulationBears-wireRatedAt)), leastShare)
}

// AmpacityAt is [Ampacity] where the wire is hot, in degrees Celsius.
func AmpacityAt(w config.Wire, celsius float64) (amps float64, basis string) {
	_, basis = Ampacity(w)
	if amps = MayCarry(w, celsius); celsius > wireRatedAt && amps > 0 {
		basis += fmt.Sprintf(", less for %.3g °C", celsius)
	}
	return amps, basis
}

// MayCarry is the amperes of [AmpacityAt].
func MayCarry(w config.Wire, celsius float64) float64 {
	amps, _ := Ampacity(w)
	if celsius > wireRatedAt {
		amps *= wireAtHeat(celsius)
	}
	return amps
}

func copperMayCarry(area float64) (float64, string) {
	const same = 1.0001 // the gauge itself, whatever the rounding
	thick := ampacities[0]
	if a := gaugeArea(thick.awg); area > a*same {
		// Thick wire sheds heat worse for its area, so by circumference only.
		return thick.amps * math.Sqrt(area/a), "by its circumference, beyond " + thick.basis
	}
	for i, thin := range ampacities {
		a := gaugeArea(thin.awg)
		if area < a/same {
			continue
		}
		if area <= a*same {
			return thin.amps, thin.basis
		}
		thick := ampacities[i-1]
		share := math.Log(area/a) / math.Log(gaugeArea(thick.awg)/a)
		return thin.amps * math.Pow(thick.amps/thin.amps, share), thin.basis + ", " + byArea
	}
	thinnest := ampacities[len(ampacities)-1]
	return thinnest.amps * area / gaugeArea(thinnest.awg), thinnest.basis + ", by its area"
}
