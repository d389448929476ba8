package budget

import (
	"fmt"

	"yardproof/config"
)

// A fuse carries less for long the hotter its place: 0.2 % for each degree above
// 25 degrees Celsius (a fuse derating guide, seen as an excerpt). Nothing is added
// for cold.
const (
	fuseRatedAt = 25    // degrees Celsius
	fuseLoss    = 0.002 // for each degree above
)

// fuseAtHeat is the part of its continuous share that a fuse keeps at a temperature.
func fuseAtHeat(celsius float64) float64 {
	return max(1-fuseLoss*max(0, celsius-fuseRatedAt), leastShare)
}

// feedCelsius is the temperature where the lead of a feed is.
func (b *Budget) feedCelsius(s *config.String, f *config.Feed) float64 {
	return config.Celsius(f.Temperature, config.Celsius(s.Temperature, b.plan.Temperature))
}

// fuseCelsius is the temperature where a feed's fuse is: its own, or that of the box of
// the supply that it comes from, or its lead's.
func (b *Budget) fuseCelsius(s *config.String, f *config.Feed) float64 {
	if f.Temperature == nil && f.Feeder == nil && f.Supply != nil && f.Supply.Enclosure != nil {
		return b.supplyCelsius(f.Supply)
	}
	return b.feedCelsius(s, f)
}

func (b *Budget) feederFuseCelsius(f *config.Feeder) float64 {
	return config.Celsius(f.Temperature, b.supplyCelsius(f.Supply))
}

// FuseForLong is what the fuse of a feed may carry for long where it is, in amperes; 0:
// not known. The feed need not be in the plan.
func (b *Budget) FuseForLong(s *config.String, f *config.Feed) float64 {
	return f.FuseAmps * f.FuseContinuousShare * fuseAtHeat(b.fuseCelsius(s, f))
}

// FeederForLong is that of a feeder's fuse.
func (b *Budget) FeederForLong(f *config.Feeder) float64 {
	return f.FuseAmps * f.FuseContinuousShare * fuseAtHeat(b.feederFuseCelsius(f))
}

// fuseText names a fuse by its rating, and what of it may flow for long.
func fuseText(amps, share, celsius float64) string {
	text := fmt.Sprintf("%g A at %.0f %%", amps, 100*share)
	if celsius > fuseRatedAt {
		text += fmt.Sprintf(", less for %.3g °C", celsius)
	}
	return text
}

// LeadOhms is the resistance of one conductor of a feed's lead where it lies, in ohms.
func LeadOhms(p *config.Plan, s *config.String, f *config.Feed) float64 {
	return Ohms(f.Wire, (&Budget{plan: p}).feedCelsius(s, f))
}

// FeederOhms is the resistance of one conductor of a feeder where it lies, in ohms; 0
// for none.
func FeederOhms(p *config.Plan, f *config.Feeder) float64 {
	if f == nil {
		return 0
	}
	return Ohms(f.Wire, config.Celsius(f.Temperature, p.Temperature))
}
