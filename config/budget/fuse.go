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
func fuseAtHeat(celsius float64) float64 { return 1 - fuseLoss*max(0, celsius-fuseRatedAt) }

// feedCelsius is the temperature where the fuse and the lead of a feed are.
func (b *Budget) feedCelsius(s *config.String, f *config.Feed) float64 {
	return config.Celsius(f.Temperature, config.Celsius(s.Temperature, b.plan.Temperature))
}

// feedFuse is what a feed's fuse may carry for long; 0: not known.
func (b *Budget) feedFuse(s *config.String, f *config.Feed) float64 {
	return f.FuseAmps * f.FuseContinuousShare * fuseAtHeat(b.feedCelsius(s, f))
}

// feederFuse is what a feeder's fuse may carry for long; 0: not known.
func (b *Budget) feederFuse(f *config.Feeder) float64 {
	return f.FuseAmps * f.FuseContinuousShare * fuseAtHeat(config.Celsius(f.Temperature, b.plan.Temperature))
}

// fuseText names a fuse by its rating, and what of it may flow for long.
func fuseText(amps, share, celsius float64) string {
	text := fmt.Sprintf("%g A at %.0f %%", amps, 100*share)
	if celsius > fuseRatedAt {
		text += fmt.Sprintf(", less for %g °C", celsius)
	}
	return text
}
