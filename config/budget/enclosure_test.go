package budget

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
)

func loaded(t *testing.T, text string) *Budget { return New(configtest.Load(t, text)) }

const boxed = `temperature: 20
supplies: [{name: a, volts: 12, watts: 350, efficiency: %g%%}]
enclosures: [{name: box, area: %g m2, material: %s, temperature: %g, supplies: a, heat_watts: %g}]
strings: [{name: quay, universe: 1, pixels: 100, supply: a, amps_per_pixel: 0.05, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 1}]}]
`

// 42 W in a box of plastic with 0.52 m² of surface warm it by 23 K (an enclosure cooling
// page, from an excerpt); 60 W of light out of a supply of 80 % are 15 W of heat (by hand).
func TestEnclosureHeat(t *testing.T) {
	for _, c := range []struct {
		area     float64
		material string
		extra    float64
		heat     float64
		rise     float64
	}{{0.52, "plastic", 27, 42, 23.08}, {0.52, "steel", 27, 42, 14.69}, {1.04, "plastic", 27, 42, 11.54}} {
		b := loaded(t, fmt.Sprintf(boxed, 80.0, c.area, c.material, 30.0, c.extra))
		e := b.Enclosures[0]
		if math.Abs(e.Watts-c.heat) > 1e-6 || math.Abs(e.Inside-30-c.rise) > 0.01 {
			t.Errorf("%+v: %+v", c, e)
		}
	}
}

// A supply in a hot box gives less, and so does a fuse that sits there; at 70 °C half of
// the supply, and 0.91 of the fuse (by hand). What use: says is taken as it stands.
func TestHotBoxCarriesLess(t *testing.T) {
	text := strings.Replace(fmt.Sprintf(boxed, 80.0, 1.0, "plastic", 70.0-15/3.5, 1e-9), "metres: 1}", "metres: 1, fuse_amps: 10}", 1)
	b := loaded(t, text)
	inside := b.Enclosures[0].Inside
	near(t, "inside", inside, 70.1, 0.2)
	near(t, "supply", b.Supplies[0].LimitAmps, 350/12.0*0.8*(1-0.025*(inside-50)), 1e-3)
	near(t, "fuse", b.FuseForLong(b.plan.Strings[0], b.plan.Strings[0].Feeds[0]), 7.5*(1-0.002*(inside-25)), 1e-3)
	b = loaded(t, strings.Replace(text, "strings:", "feeders: [{name: f, supply: a, awg: 12, metres: 3, fuse_amps: 10}]\nstrings:", 1))
	near(t, "a feeder's fuse", b.FeederForLong(b.plan.Feeders[0]), 7.5*(1-0.002*(inside-25)), 1e-3)
	b = loaded(t, strings.Replace(text, "watts: 350", "watts: 350, use: 80%", 1))
	near(t, "supply by its leaflet", b.Supplies[0].LimitAmps, 350/12.0*0.8, 1e-6)
	b = loaded(t, strings.Replace(text, "fuse_amps: 10", "fuse_amps: 10, temperature: 25", 1))
	near(t, "a fuse elsewhere", b.FuseForLong(b.plan.Strings[0], b.plan.Strings[0].Feeds[0]), 7.5, 1e-9)
}

// Where heat is why a supply gives too little, that is said, and where to mend it.
func TestSupplyTooHotIsSaid(t *testing.T) {
	text := fmt.Sprintf(boxed, 80.0, 1.0, "plastic", 70.0-15/3.5, 1e-9)
	text = strings.Replace(text, "watts: 350", "watts: 140", 1)
	for _, p := range loaded(t, text).Problems {
		if strings.Contains(p.What, "supply a: full white of everything on it takes 5.0 A, it may give 4.7 A for long, since it is at 70") &&
			strings.Contains(p.What, "at 50 °C or less it may give 9.3 A") && strings.HasPrefix(p.Fix, "make enclosure box cooler, or move strings") {
			return
		}
	}
	t.Errorf("not said: %v", loaded(t, text).Problems)
}

// The surface, and the heat to move, that the warning names bring the box to 70 °C.
func TestHotBoxIsMended(t *testing.T) {
	text := fmt.Sprintf(boxed, 80.0, 0.3, "steel", 45.0, 50.0)
	b := loaded(t, text)
	fix := ""
	for _, p := range b.Problems {
		if strings.Contains(p.What, "enclosure box: some 65 W of heat make it about 84 °C inside") {
			fix = p.Fix
		}
	}
	var area, watts float64
	if _, err := fmt.Sscanf(fix, "use one of %g m², or move %g W of heat out of it", &area, &watts); err != nil {
		t.Fatalf("%q: %v %v", fix, err, b.Problems)
	}
	for _, mended := range []string{fmt.Sprintf(boxed, 80.0, area, "steel", 45.0, 50.0), fmt.Sprintf(boxed, 80.0, 0.3, "steel", 45.0, 50-watts)} {
		if b := loaded(t, mended); b.Enclosures[0].Inside > hottestInside {
			t.Errorf("%q: %+v", fix, b.Enclosures[0])
		}
	}
}

// Wire of 75 °C keeps 0.577 of its ampacity at 60 °C, as the tables of NEC 310.15 print
// (0.58, from memory, unchecked), and a fuse that was right in the cool is warned of.
func TestHotWireCarriesLess(t *testing.T) {
	may, _ := AmpacityAt(config.Wire{AWG: 18, HasAWG: true, Metal: config.Copper}, 60)
	near(t, "18 AWG at 60 °C", may, 7*0.577, 0.005)
	for _, c := range []float64{30, 60} {
		b := loaded(t, fmt.Sprintf("temperature: %g\nsupplies: [{name: a, volts: 12, watts: 350, use: 80%%}]\nstrings: [{name: quay, universe: 1, pixels: 50, supply: a, amps_per_pixel: 0.02, fuse_amps: 7, pitch: {awg: 18, millimetres: 100}}]\n", c))
		warned := false
		for _, p := range b.Problems {
			warned = warned || strings.Contains(p.What, "a fuse of 7 A does not protect its wire: 18 AWG copper may have 4.04 A") && p.Severity == config.Warning
		}
		if warned != (c == 60) {
			t.Errorf("at %g °C: %v", c, b.Problems)
		}
	}
}
