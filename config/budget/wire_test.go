package budget

import (
	"fmt"
	"testing"

	"yardproof/config"
)

// Solid copper by gauge: diameter and area of ASTM B258, resistance at 20 degrees
// by IEC 60028, and the 75 degree columns of NEC chapter 9 table 8 (solid,
// uncoated), in ohms for 1000 feet and for a kilometre, as two transcriptions
// give them. The table ends at 18 AWG.
func TestWireTables(t *testing.T) {
	for _, row := range []struct {
		awg             int
		mm2, ohms20     float64
		nec75ft, nec75m float64 // 0: not in the table
	}{
		{10, 5.261, 3.28, 1.21, 0},
		{12, 3.309, 5.21, 1.93, 6.34},
		{14, 2.081, 8.29, 3.07, 10.1},
		{16, 1.309, 13.17, 4.89, 16.0},
		{18, 0.8230, 20.95, 7.77, 25.5},
		{20, 0.5176, 33.31, 0, 0},
		{22, 0.3255, 52.96, 0, 0},
		{24, 0.2047, 84.21, 0, 0},
		{26, 0.1288, 133.90, 0, 0},
		{28, 0.0810, 212.92, 0, 0},
	} {
		t.Run(fmt.Sprint(row.awg, " AWG"), func(t *testing.T) {
			w := config.Wire{AWG: row.awg, HasAWG: true, Metal: config.Copper}
			near(t, "mm2", gaugeArea(row.awg), row.mm2, 0.0006*row.mm2)
			near(t, "ohms/km at 20", 1000*ohmsPerMetre(w, 20), row.ohms20, 0.002*row.ohms20)
			warm := 1000 * ohmsPerMetre(w, 75)
			if row.nec75ft > 0 { // printed with three digits
				near(t, "ohms/kft at 75", warm*0.3048, row.nec75ft, 0.005*row.nec75ft)
			}
			if row.nec75m > 0 {
				near(t, "ohms/km at 75", warm, row.nec75m, 0.005*row.nec75m)
			}
		})
	}
	// Every gauge between the printed ones is evenly spaced: three double the area.
	for awg := 10; awg <= 25; awg++ {
		near(t, fmt.Sprint(awg, " against three thinner"), gaugeArea(awg)/gaugeArea(awg+3), 2.005, 0.001)
	}
}

func TestWireForms(t *testing.T) {
	area := config.Wire{MM2: 0.823, Metal: config.Copper}
	near(t, "0.823 mm2", ohmsPerMetre(area, 20), 0.02095, 1e-5)
	clad := config.Wire{AWG: 18, HasAWG: true, Metal: config.CCA}
	near(t, "copper-clad aluminium", ohmsPerMetre(clad, 20), 0.03247, 1e-5)
	printed := config.Wire{Milliohms: 21, Metal: config.CCA}
	near(t, "as printed", ohmsPerMetre(printed, 20), 0.021, 1e-12)
	near(t, "unknown", ohmsPerMetre(config.Wire{}, 20), 0, 0)
	near(t, "0 AWG", ohmsPerMetre(config.Wire{HasAWG: true, Metal: config.Copper}, 20), 0.000322, 1e-6)
}

// 18 and 16 AWG are NEC 725.43 (2008), which was read.
func TestMayCarry(t *testing.T) {
	for _, row := range []struct {
		awg  int
		amps float64
	}{{16, 10}, {18, 7}} {
		amps, basis := Ampacity(config.Wire{AWG: row.awg, HasAWG: true, Metal: config.Copper})
		if amps != row.amps || basis == "" {
			t.Errorf("%d AWG may have %g A (%s), want %g A", row.awg, amps, basis, row.amps)
		}
	}
	last := 0.0
	for mm2 := 0.01; mm2 < 50; mm2 *= 1.05 { // no wire may have less than a thinner one
		amps, basis := Ampacity(config.Wire{MM2: mm2})
		if amps < last || basis == "" {
			t.Errorf("%g mm2 may have %g A, less than a thinner wire's %g A", mm2, amps, last)
		}
		last = amps
	}
	if clad, _ := Ampacity(config.Wire{AWG: 18, HasAWG: true, Metal: config.CCA}); clad >= 7 || clad < 5 {
		t.Errorf("18 AWG copper-clad aluminium may have %g A", clad)
	}
	if amps, basis := Ampacity(config.Wire{}); amps != 0 || basis != "" {
		t.Errorf("an unknown wire may have %g A (%s)", amps, basis)
	}
}
