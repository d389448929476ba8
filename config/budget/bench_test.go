package budget

import (
	"bytes"
	"fmt"
	"runtime"
	"testing"

	"yardproof/config"
)

// bigPlan is a plan of many strings of 100 pixels, every one fed at both ends,
// eight on each controller and three on each supply.
func bigPlan(strings int) []byte {
	var w bytes.Buffer
	fmt.Fprintln(&w, "controllers:")
	for i := range (strings + 7) / 8 {
		fmt.Fprintf(&w, "  - {name: c%d}\n", i)
	}
	fmt.Fprintln(&w, "supplies:")
	for i := range (strings + 2) / 3 {
		fmt.Fprintf(&w, "  - {name: p%d, volts: 12, watts: 350}\n", i)
	}
	fmt.Fprintln(&w, "strings:")
	for i := range strings {
		fmt.Fprintf(&w, `  - name: s%d
    controller: c%d
    port: %d
    universe: %d
    pixels: 100
    amps_per_pixel: 0.055
    supply: p%d
    fuse_amps: 5
    pitch: {awg: 18, millimetres: 100}
    feeds: [{at: start, awg: 16, metres: 3}, {at: end, awg: 14, metres: 9}]
`, i, i/8, i%8+1, i+1, i/3)
	}
	return w.Bytes()
}

// BenchmarkBigPlan reads and budgets 10,000 strings, 1,000,000 pixels. It is to
// stay under two seconds and 500 MiB.
func BenchmarkBigPlan(b *testing.B) {
	text := bigPlan(10_000)
	b.ReportAllocs()
	for b.Loop() {
		p, problems := config.Load("big.yaml", bytes.NewReader(text))
		if len(problems) > 0 {
			b.Fatal(problems[0])
		}
		if got := New(p); len(got.Strings) != 10_000 {
			b.Fatal("strings are missing")
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "MiB-from-system")
}

// BenchmarkNew is the budget without the parser, by pixels: linear.
func BenchmarkNew(b *testing.B) {
	for _, strings := range []int{100, 1000, 10_000} {
		b.Run(fmt.Sprintf("pixels=%d", strings*100), func(b *testing.B) {
			p, _ := config.Load("big.yaml", bytes.NewReader(bigPlan(strings)))
			b.ReportAllocs()
			for b.Loop() {
				New(p)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(strings*100), "ns/pixel")
		})
	}
}

// BenchmarkFeeders is the same with every string's feeds on feeders that fifty
// strings share, and with one that all share.
func BenchmarkFeeders(b *testing.B) {
	for _, each := range []int{50, 1000} {
		b.Run(fmt.Sprintf("strings=%d", each), func(b *testing.B) {
			p, _ := config.Load("big.yaml", bytes.NewReader(bigPlan(1000)))
			for i := range (len(p.Strings) + each - 1) / each {
				p.Feeders = append(p.Feeders, &config.Feeder{Name: fmt.Sprint("f", i), Supply: p.Supplies[0], Wire: config.Wire{MM2: 1000, Metres: 1}, FuseAmps: 1e5, FuseContinuousShare: 0.75})
			}
			for i, s := range p.Strings {
				for _, f := range s.Feeds {
					f.Feeder = p.Feeders[i/each]
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				New(p)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e5, "ns/pixel")
		})
	}
}

func BenchmarkCap(b *testing.B) {
	p, _ := config.Load("big.yaml", bytes.NewReader(bigPlan(10_000)))
	budget := New(p)
	duty := make([]float64, len(p.Strings))
	for i := range duty {
		duty[i] = 1
	}
	b.ReportAllocs()
	for b.Loop() {
		budget.Cap(duty)
	}
}
