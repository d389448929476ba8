package budget

import (
	"cmp"
	"fmt"
	"math"

	"yardproof/config"
)

// What an enclosure's heat rests on.
const (
	// Watts that walls give off for each square metre and degree: an enclosure cooling
	// page, from an excerpt. Still air, in the shade.
	plasticCools = 3.5
	steelCools   = 5.5

	usualEfficiency = 0.85 // of a supply whose leaflet is not in the plan (common practice, no source)
	controllerHeat  = 10.0 // watts of a controller (common practice, no source)
	fuseDrop        = 0.10 // volts across a blade fuse that carries its rating (common practice, no source)

	// Supplies, controllers and fuse holders are commonly made for no more (common
	// practice, no source).
	hottestInside = 70.0
)

// Enclosure is what a closed box is like with everything lit, as an estimate: with the
// string's current shared evenly among its feeds.
type Enclosure struct {
	Name    string  `json:"name"`
	Watts   float64 `json:"heat_watts"` // made inside
	Outside float64 `json:"outside_celsius"`
	Inside  float64 `json:"inside_celsius"`

	cools float64 // watts for each degree
}

// enclosures works out the boxes from what is on the plates: they tell what fuses and
// supplies may carry, so they come before the currents are solved.
func (b *Budget) enclosures() {
	p := b.plan
	if len(p.Enclosures) == 0 {
		return
	}
	out, unknown := map[*config.Supply]float64{}, map[*config.Supply]bool{}
	through := map[*config.Feeder]float64{}
	fuses := map[*config.Supply]float64{}
	fuse := func(s *config.Supply, amps, rating float64) {
		if rating > 0 && s != nil {
			fuses[s] += fuseDrop * amps * amps / rating
		}
	}
	for i, s := range p.Strings {
		for _, f := range s.Feeds {
			amps := b.Strings[i].FullWhiteAmps / float64(len(s.Feeds))
			out[f.Supply] += amps * s.Volts
			unknown[f.Supply] = unknown[f.Supply] || amps == 0
			if f.Feeder != nil {
				through[f.Feeder] += amps
			} else {
				fuse(f.Supply, amps, f.FuseAmps)
			}
		}
	}
	for f, amps := range through {
		fuse(f.Supply, amps, f.FuseAmps)
	}
	b.inside = make(map[*config.Enclosure]float64, len(p.Enclosures))
	for _, e := range p.Enclosures {
		r := Enclosure{Name: e.Name, Outside: config.Celsius(e.Temperature, p.Temperature)}
		r.Watts = e.Watts + controllerHeat*float64(len(e.Controllers))
		for _, s := range e.Supplies {
			load, ok := out[s]
			if !ok || unknown[s] || load > s.Watts {
				load = s.Watts
			}
			r.Watts += load*(1/cmp.Or(s.Efficiency, usualEfficiency)-1) + fuses[s]
		}
		r.cools = e.Area * plasticCools
		if e.Material == config.Steel {
			r.cools = e.Area * steelCools
		}
		r.Inside = r.Outside
		if r.cools > 0 { // its area was not refused
			r.Inside += r.Watts / r.cools
		}
		b.inside[e] = r.Inside
		tidy(&r.Watts, &r.Inside)
		b.Enclosures = append(b.Enclosures, r)
	}
}

// supplyCelsius is the temperature where a supply is.
func (b *Budget) supplyCelsius(s *config.Supply) float64 {
	if s != nil && s.Enclosure != nil {
		return b.inside[s.Enclosure]
	}
	return b.plan.Temperature
}

// Supplies give their rating up to some temperature, and less above (common practice,
// no source: no maker's curve could be read).
const (
	supplyRatedAt = 50    // degrees Celsius
	supplyLoss    = 0.025 // for each degree above
)

// supplyShare is the part of its rating that a supply gives for long. A share that is in
// the plan is taken to be its leaflet's, heat and all.
func (b *Budget) supplyShare(s *config.Supply) float64 {
	if s.Has("use") {
		return s.ContinuousShare
	}
	return s.ContinuousShare * max(1-supplyLoss*max(0, b.supplyCelsius(s)-supplyRatedAt), leastShare)
}

// What is too hot to carry anything is not what is not known.
const leastShare = 0.01

// SupplyForLong is what a supply may give for long where it is, in amperes; 0: not known.
// It need not be in the plan.
func (b *Budget) SupplyForLong(s *config.Supply) float64 {
	if s.Volts <= 0 {
		return 0
	}
	return s.Watts / s.Volts * b.supplyShare(s)
}

func (j judge) enclosures() {
	for i, e := range j.p.Enclosures {
		r := &j.b.Enclosures[i]
		if r.Inside <= hottestInside {
			continue
		}
		fix := "put it in the shade, or elsewhere"
		if spare := hottestInside - r.Outside; spare > 0 {
			fix = fmt.Sprintf("use one of %.2g m², or move %.0f W of heat out of it", math.Ceil(r.Watts/(r.cools/e.Area*spare)*100)/100, math.Ceil(r.Watts-r.cools*spare))
		}
		j.add(config.Warning, e.At("area"), fix,
			"enclosure %s: some %.0f W of heat make it about %.0f °C inside with everything lit; what is in it is commonly made for %.0f °C", e.Name, r.Watts, r.Inside, hottestInside)
	}
}
