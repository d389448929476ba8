package design

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"yardproof/config/configtest"
)

// streetOf is a long street of strings that are fed too thinly, or not at all yet.
func streetOf(r *rand.Rand, strs int) string {
	var w strings.Builder
	w.WriteString("temperature: 25\nsupplies:\n")
	for i := range strs/4 + 1 {
		fmt.Fprintf(&w, "  - {name: hut-%d, volts: 12, watts: 350, at: [%d, 3]}\n", i, 6*i+r.IntN(4))
	}
	w.WriteString("strings:\n")
	for i := range strs {
		pixels, pitch := 50+10*r.IntN(16), []int{33, 50, 76, 100}[r.IntN(4)]
		x := 1.5*float64(i) + r.Float64()
		fmt.Fprintf(&w, "  - name: s%d\n    universe: %d\n    pixels: %d\n    supply: hut-%d\n    amps_per_pixel: %.4f\n", i, 2*i+1, pixels, i/4, 0.02+0.03*r.Float64())
		fmt.Fprintf(&w, "    pitch: {awg: %d, millimetres: %d}\n    at: [%.1f, 0]\n    to: [%.1f, 1]\n", []int{16, 18, 18, 20}[r.IntN(4)], pitch, x, x+0.8*float64(pixels*pitch)/1000)
		switch r.IntN(4) {
		case 1:
			fmt.Fprintf(&w, "    feeds: [{at: start, awg: 18, metres: %d, fuse_amps: %d}]\n", 1+r.IntN(6), []int{3, 5, 10}[r.IntN(3)])
		case 2:
			fmt.Fprintf(&w, "    jumpers: [{after: %d, metres: 1}]\n", pixels/2)
		}
	}
	return w.String()
}

// BenchmarkStreet says what 30 seconds give for 500 strings that all differ: for how many
// something is proposed, and how far it may be above the cheapest.
func BenchmarkStreet(b *testing.B) {
	plan := configtest.Load(b, streetOf(rand.New(rand.NewPCG(500, 1)), 500))
	for b.Loop() {
		ctx, cancel := context.WithTimeout(b.Context(), 30*time.Second)
		out := New(ctx, plan, Options{Level: 1})
		cancel()
		b.ReportMetric(float64(len(out.Strings)), "proposed")
		b.ReportMetric(float64(len(out.Refused)), "not")
		b.ReportMetric(100*out.Cost.Gap(), "gap-%")
		settled := 0
		for i := range out.Strings {
			if c := out.Strings[i].Cost; c.Least >= c.Proposed-1e-9 {
				settled++
			}
		}
		b.ReportMetric(float64(settled), "cheapest")
	}
}
