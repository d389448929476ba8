package protection

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

// BenchmarkReport works out 10,000 strings of 100 pixels, no two alike: fed at both ends with
// nothing to be found, and in three places with a mend to be looked for in each.
func BenchmarkReport(b *testing.B) {
	for name, feeds := range map[string]string{
		"sound":  "{at: start, awg: 16, metres: 2, fuse_amps: 5}, {at: end, awg: 16, metres: %d.%04d, fuse_amps: 5}",
		"mended": "{at: start, awg: 18, metres: 1, fuse_amps: 7}, {at: 50, awg: 18, metres: 3, fuse_amps: 7}, {at: end, awg: 18, metres: %d.%04d, fuse_amps: 7}",
	} {
		b.Run(name, func(b *testing.B) {
			var w strings.Builder
			w.WriteString("supplies: [{name: a, volts: 12, watts: 600}]\nstrings:\n")
			for i := range 10000 {
				fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, supply: a, amps_per_pixel: 0.03, pitch: {awg: 18, millimetres: 100}, feeds: [%s]}\n", i, 1+i, fmt.Sprintf(feeds, 2+i%5, i))
			}
			p, _ := config.Load("street.yaml", strings.NewReader(w.String()))
			bud := budget.New(p)
			b.ReportAllocs()
			for b.Loop() {
				r := New(p, bud)
				if found := len(r.Findings) > 0; len(r.Strings) != 10000 || found != (name == "mended") {
					b.Fatal(len(r.Strings), len(r.Findings))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/pixel")
		})
	}
}
