package config

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"yardproof/sacn"
)

// FuzzLoad checks that any text gives problems or a plan that keeps its promises,
// and never a panic.
func FuzzLoad(f *testing.F) {
	f.Add(demo)
	bad, err := os.ReadFile("../testdata/plans/bad.txt")
	if err != nil {
		f.Fatal(err)
	}
	for _, block := range strings.Split(string(bad), "\n== ")[1:] {
		_, rest, _ := strings.Cut(block, "\n")
		plan, _, _ := strings.Cut(rest, "\n--")
		f.Add([]byte(plan))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, problems := Load("p", bytes.NewReader(data))
		m := p.Map()
		for _, pr := range problems {
			if pr.What == "" || pr.Fix == "" || pr.Where.File == "" {
				t.Errorf("a problem without words: %+v", pr)
			}
		}
		if len(m.Strings) != len(p.Strings) {
			t.Fatalf("%d strings are mapped, the plan has %d", len(m.Strings), len(p.Strings))
		}
		for _, u := range m.Universes {
			if u.Number < sacn.MinUniverse || u.Number > sacn.MaxUniverse || u.Channels < 1 || u.Channels > sacn.MaxSlots {
				t.Errorf("universe %+v", u)
			}
		}
		for _, pr := range problems {
			if pr.Severity == Error {
				return
			}
		}
		seen := map[[2]int]bool{}
		for i, s := range p.Strings {
			if s.Index != i || s.Name == "" || len(s.Feeds) == 0 {
				t.Errorf("string %+v", s)
			}
			if s.Pixels > 100_000 {
				continue // to look at each slot would take long
			}
			total := 0
			for _, c := range m.Strings[i].Copies {
				for slot := c.At; slot < c.At+c.Length; slot++ {
					key := [2]int{c.Universe, slot}
					if seen[key] || slot >= sacn.MaxSlots {
						t.Fatalf("string %s: slot %v is used twice or does not exist", s.Name, key)
					}
					seen[key] = true
				}
				total += c.Length
			}
			if total != s.Pixels*s.ChannelsPerPixel() {
				t.Errorf("string %s: %d slots are mapped of %d", s.Name, total, s.Pixels*s.ChannelsPerPixel())
			}
		}
	})
}
