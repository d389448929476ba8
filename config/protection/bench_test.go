package protection

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

// BenchmarkReport works out 10,000 strings of 100 pixels, each fed at both ends and no two alike.
func BenchmarkReport(b *testing.B) {
	var w strings.Builder
	w.WriteString("supplies: [{name: a, volts: 12, watts: 600}]\nstrings:\n")
	for i := range 10000 {
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, supply: a, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 2, fuse_amps: 5}, {at: end, awg: 16, metres: %d.%04d, fuse_amps: 5}]}\n", i, 1+i, 2+i%5, i)
	}
	p, _ := config.Load("street.yaml", strings.NewReader(w.String()))
	bud := budget.New(p)
	b.ReportAllocs()
	for b.Loop() {
		if r := New(p, bud); len(r.Strings) != 10000 {
			b.Fatal(len(r.Strings))
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/pixel")
}
