package session

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/patterns"
	"yardproof/sacn/source"
)

// BenchmarkFrame renders a thousand universes, a string of 170 pixels each: what
// a frame costs beside sending it.
func BenchmarkFrame(b *testing.B) {
	var text strings.Builder
	text.WriteString("strings:\n")
	for u := range 1000 {
		fmt.Fprintf(&text, "  - {name: s%d, universe: %d, pixels: 170}\n", u, u+1)
	}
	plan := configtest.Load(b, text.String())
	for _, p := range patterns.All() {
		for _, level := range []float64{0.3, 1} {
			b.Run(fmt.Sprintf("%s/%.0f%%", p.Name, 100*level), func(b *testing.B) {
				s := New(plan, budget.New(plan))
				look := s.Scene()
				slots := make([][]byte, len(look.Streams))
				for i := range slots {
					slots[i] = make([]byte, 512)
				}
				if _, err := s.Show(Request{Pattern: p.Name, Level: level, LevelExplicit: true, Hold: Forever}); err != nil {
					b.Fatal(err)
				}
				now := time.Now()
				for range 1000 {
					now = now.Add(25 * time.Millisecond)
					look.Render(source.Frame{Deadline: now}, slots)
				}
				b.ReportAllocs()
				for b.Loop() {
					now = now.Add(25 * time.Millisecond)
					look.Render(source.Frame{Deadline: now}, slots)
				}
			})
		}
	}
}
