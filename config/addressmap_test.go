package config

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// TestWorkedMappings holds the map to the table of worked mappings: 512 slots in
// a universe, 170 whole RGB pixels or 128 RGBW ones (plain arithmetic on E1.31's
// 512 slots). Each row gives the universe and channel of a pixel's first slot.
func TestWorkedMappings(t *testing.T) {
	type at struct {
		universe uint16
		channel  int
	}
	for _, row := range []struct {
		pixel                         int
		rgbWhole, rgbContinuous, rgbw at
	}{
		{1, at{1, 1}, at{1, 1}, at{1, 1}},
		{128, at{1, 382}, at{1, 382}, at{1, 509}},
		{129, at{1, 385}, at{1, 385}, at{2, 1}},
		{170, at{1, 508}, at{1, 508}, at{2, 165}},
		{171, at{2, 1}, at{1, 511}, at{2, 169}}, // straddles when continuous
		{172, at{2, 4}, at{2, 2}, at{2, 173}},
		{340, at{2, 508}, at{2, 506}, at{3, 333}},
		{341, at{3, 1}, at{2, 509}, at{3, 337}},
		{342, at{3, 4}, at{2, 512}, at{3, 341}}, // straddles when continuous
		{512, at{4, 4}, at{3, 510}, at{4, 509}},
		{513, at{4, 7}, at{4, 1}, at{5, 1}},
		{1000, at{6, 448}, at{6, 438}, at{8, 413}},
		{1024, at{7, 10}, at{6, 510}, at{8, 509}},
	} {
		for _, c := range []struct {
			order Order
			pack  Pack
			want  at
		}{
			{"RGB", PackWhole, row.rgbWhole}, {"RGB", PackContinuous, row.rgbContinuous},
			{"RGBW", PackWhole, row.rgbw}, {"RGBW", PackContinuous, row.rgbw},
		} {
			m := oneString(c.order, c.pack, 1, 1024, 0).Map()
			slot := (row.pixel - 1) * len(c.order)
			for _, cp := range m.Strings[0].Copies {
				if slot >= cp.From && slot < cp.From+cp.Length {
					got := at{m.Universes[cp.Universe].Number, cp.At + slot - cp.From + 1}
					if got != c.want {
						t.Errorf("pixel %d, %s %s: at %v, want %v", row.pixel, c.order, c.pack, got, c.want)
					}
				}
			}
		}
	}
}

// TestUniverseCounts is the table of how many universes a string takes.
func TestUniverseCounts(t *testing.T) {
	for _, row := range []struct{ pixels, rgbWhole, rgbContinuous, rgbw int }{
		{50, 1, 1, 1}, {100, 1, 1, 1}, {170, 1, 1, 2}, {171, 2, 2, 2}, {340, 2, 2, 3}, {341, 3, 2, 3}, {342, 3, 3, 3},
		{512, 4, 3, 4}, {680, 4, 4, 6}, {1000, 6, 6, 8}, {1024, 7, 6, 8}, {2048, 13, 12, 16},
	} {
		got := [3]int{
			len(oneString("RGB", PackWhole, 1, row.pixels, 0).Map().Universes),
			len(oneString("RGB", PackContinuous, 1, row.pixels, 0).Map().Universes),
			len(oneString("RGBW", PackWhole, 1, row.pixels, 0).Map().Universes),
		}
		if want := [3]int{row.rgbWhole, row.rgbContinuous, row.rgbw}; got != want {
			t.Errorf("%d pixels: %v universes, want %v", row.pixels, got, want)
		}
	}
}

func oneString(order Order, pack Pack, channel, pixels, nulls int) *Plan {
	p, _ := OneString(One{Universe: 1, Pixels: pixels})
	s := p.Strings[0]
	s.Order, s.Channel, s.NullPixels, s.NullsByPlan = order, channel, nulls, nulls > 0
	s.Controller = &Controller{Pack: pack}
	p.addresses = nil // another string, another map
	return p
}

// TestMapSlotBySlot checks random layouts against the slow way: one slot after
// the other.
func TestMapSlotBySlot(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		order := []Order{"RGB", "RGBW"}[rnd.IntN(2)]
		pack := []Pack{PackWhole, PackContinuous}[rnd.IntN(2)]
		channel, pixels, nulls := 1+rnd.IntN(512-len(order)), 1+rnd.IntN(700), rnd.IntN(3)*rnd.IntN(200)
		name := fmt.Sprintf("%s %s channel %d, %d pixels, %d nulls", order, pack, channel, pixels, nulls)
		p := oneString(order, pack, channel, pixels, nulls)
		m := p.Map()
		var got [][2]int // universe and channel, by slot of the string
		pixel := 1
		for i, seg := range m.Strings[0].Segments {
			c := m.Strings[0].Copies[i]
			if u := m.Universes[c.Universe].Number; u != seg.Universe || c.At != seg.FirstChannel-1 || c.Length != seg.Channels || c.From != len(got) {
				t.Fatalf("%s: copy %v does not match segment %v", name, c, seg)
			}
			if begins := (c.From + c.Length + len(order) - 1) / len(order); begins-(pixel-1) != seg.Pixels || seg.FirstPixel != c.From/len(order)+1 {
				t.Fatalf("%s: segment %v counts its pixels wrong", name, seg)
			}
			pixel += seg.Pixels
			for j := range seg.Channels {
				got = append(got, [2]int{int(seg.Universe), seg.FirstChannel + j})
			}
		}
		universe, ch := 1, channel
		var want [][2]int
		for pixel := range nulls + pixels {
			if pack == PackWhole && ch+len(order)-1 > 512 {
				universe, ch = universe+1, 1
			}
			for range len(order) {
				if ch > 512 {
					universe, ch = universe+1, 1
				}
				if pixel >= nulls {
					want = append(want, [2]int{universe, ch})
				}
				ch++
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%s: got %v, want %v", name, got, want)
		}
		if last := p.Strings[0].lastUniverse(); last != universe {
			t.Fatalf("%s: lastUniverse is %d, want %d", name, last, universe)
		}
	}
}

func TestUsedSlotsAndKeeps(t *testing.T) {
	p, problems := Load("p", strings.NewReader(`
network: {slots: used}
controllers: [{name: a, address: 192.0.2.1}, {name: b, address: 192.0.2.2}]
strings:
  - {name: one, controller: a, universe: 1, pixels: 50}
  - {name: two, controller: b, universe: 1, pixels: 60}
  - {name: three, universe: 2, pixels: 171}
  - {name: four, universe: 9, pixels: 1, null_pixels: 200, nulls_by: plan}
reserved: [{universe: 1, channels: 300, value: 255}]
`))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	m := p.Map()
	var got []string
	for _, u := range m.Universes {
		got = append(got, fmt.Sprintf("%d %v %d", u.Number, u.Address, u.Channels))
	}
	want := []string{"1 192.0.2.1 300", "1 192.0.2.2 300", "2 invalid IP 510", "3 invalid IP 3", "9 invalid IP 510", "10 invalid IP 93"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLongestString(t *testing.T) {
	p, problems := OneString(One{Universe: 1, Pixels: MaxStringPixels})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if n, want := len(p.Map().Universes), 589; n != want { // 100,000 / 170, rounded up
		t.Errorf("%d universes, want %d", n, want)
	}
	if _, problems = OneString(One{Universe: 63500, Pixels: MaxStringPixels}); len(problems) != 1 || !strings.Contains(problems[0].What, "64088") {
		t.Errorf("got %v, want one problem that names universe 64088", problems)
	}
}

// Two hundred controllers by unicast can hold more than all universes do.
func TestMorePixelsThanAllUniverses(t *testing.T) {
	var text strings.Builder
	text.WriteString("controllers:\n")
	for i := range 110 {
		fmt.Fprintf(&text, "  - {name: c%d, address: 192.0.2.%d}\n", i, i+1)
	}
	text.WriteString("strings:\n")
	for i := range 110 {
		fmt.Fprintf(&text, "  - {name: s%d, controller: c%d, universe: 1, pixels: 100000}\n", i, i)
	}
	_, problems := Load("p", strings.NewReader(text.String()))
	if len(problems) != 1 || !strings.Contains(problems[0].What, "more than 10879830 pixels in all") {
		t.Errorf("got %v, want one problem that counts the pixels", problems)
	}
}

func TestOneStringRefuses(t *testing.T) {
	for want, one := range map[string]One{
		"--order cannot be": {Universe: 1, Pixels: 50, Order: "RGG"}, "--volts cannot be": {Universe: 1, Pixels: 50, Volts: -1},
		"--fuse-amps cannot be": {Universe: 1, Pixels: 50, FuseAmps: math.NaN()}, "--supply-watts cannot be": {Universe: 1, Pixels: 50, SupplyWatts: 1e9},
	} {
		if _, problems := OneString(one); len(problems) != 1 || !strings.Contains(problems[0].What, want) {
			t.Errorf("%+v: %v", one, problems)
		}
	}
	for _, c := range [][2]int{{0, 50}, {64000, 50}, {1, 0}, {1, -1}, {1, math.MaxInt}} {
		if p, problems := OneString(One{Universe: c[0], Pixels: c[1]}); len(problems) == 0 {
			t.Errorf("universe %d and %d pixels: no problem", c[0], c[1])
		} else {
			p.Map()
		}
	}
}
