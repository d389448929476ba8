package budget

import (
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
)

// Each plan has one thing wrong; the text says what and where, to the column.
func TestProblems(t *testing.T) {
	const supplies = `supplies: [{name: a, volts: 12, watts: 350}, {name: b, volts: 12, watts: 350}, {name: five, volts: 5, watts: 300}, {name: low, volts: 24, watts: 100}]
controllers: [{name: c, max_amps: 8}]
feeders: [{name: fat, supply: a, awg: 10, metres: 3, fuse_amps: 40}, {name: thin, supply: a, awg: 18, metres: 1, fuse_amps: 7}]
`
	const pitch = "pitch: {awg: 18, millimetres: 100}"
	for _, test := range []struct {
		name, keys string
		severity   config.Severity
		where      string // line and column; "": not looked at
		what       string
	}{
		{"fuse and pitch", "pixels: 50, supply: a, pitch: {awg: 22, millimetres: 100}, fuse_amps: 5", config.Error, "", "22 AWG copper may have 3 A (NFPA 79"},
		{"fuse and lead", "pixels: 50, supply: a, fuse_amps: 10, pitch: {awg: 14, millimetres: 100}, feeds: [{at: start, awg: 18, metres: 2, fuse_amps: 10}]", config.Error, "", "18 AWG copper may have 7 A (NEC 725.43 (2008))"},
		{"fuse and clad wire", "pixels: 50, supply: a, pitch: {awg: 18, metal: cca, millimetres: 100}, fuse_amps: 7", config.Error, "", "copper-clad aluminium may have 5.62 A"},
		{"fuse and jumper", "pixels: 50, supply: a, " + pitch + ", fuse_amps: 5, jumpers: [{after: 20, awg: 24, metres: 1}]", config.Error, "", "24 AWG copper may have 2 A"},
		{"uncapped full white", "pixels: 150, supply: a, fuse_amps: 5, feeds: [{at: start}, {at: 75}], " + pitch, config.Warning, "", "A through the 5 A fuse at 75"},
		{"two supplies", "pixels: 50, " + pitch + ", feeds: [{at: start, supply: a}, {at: end, supply: b}]", config.Error, "", "the feeds at start and end join supplies a and b on one V+"},
		{"piece without a feed", "pixels: 50, supply: a, cut_positive_after: [20, 30], " + pitch + ", feeds: [{at: start}, {at: end}]", config.Error, "", "has no feed"},
		{"chip and volts", "pixels: 50, supply: a, chip: ws2812b, " + pitch, config.Error, "", "ws2812b works from 3.5 to 5.5 V, not at 12 V"},
		{"fades", "pixels: 150, supply: a, fuse_amps: 7, " + pitch, config.Warning, "", "fades below 10.4 V"},
		{"no such chip", "pixels: 50, supply: a, chip: ws2182, " + pitch, config.Warning, "", "nothing is known of chip ws2182"},
		{"channels", "pixels: 50, supply: a, order: RGBW, " + pitch, config.Warning, "", "has 4 channels, a ws2811 pixel has 3"},
		{"data lead", "pixels: 50, supply: a, data_lead: 7, " + pitch, config.Warning, "", "a data lead of 7 m"},
		{"regulators", "pixels: 100, supply: a, load: power, amps_per_pixel: 0.1, pitch: {awg: 22, millimetres: 100}", config.Warning, "", "the volts collapse"},
	} {
		t.Run(test.name, func(t *testing.T) {
			p := configtest.Load(t, supplies+"strings:\n  - {name: s, universe: 1, "+test.keys+"}\n")
			p.Feeders = nil
			got := New(p).Problems
			for _, problem := range got {
				if problem.Severity == test.severity && strings.Contains(problem.What, test.what) {
					if problem.Where.Line != 5 || problem.Fix == "" {
						t.Errorf("%v: no place in line 5, or no fix", problem)
					}
					return
				}
			}
			t.Errorf("nobody says %q: %v", test.what, got)
		})
	}
	t.Run("in order", func(t *testing.T) {
		p := configtest.Load(t, supplies+"strings:\n  - {name: s, universe: 1, pixels: 50, "+pitch+", cut_positive_after: [25], feeds: [{at: start, supply: a, fuse_amps: 5}, {at: end, supply: b, fuse_amps: 5}]}\n")
		p.Feeders = nil
		if got := New(p).Problems; len(got) > 0 {
			t.Errorf("two supplies with a cut between them: %v", got)
		}
	})
	t.Run("feeder", func(t *testing.T) {
		p := configtest.Load(t, supplies+"strings:\n  - {name: s, universe: 1, pixels: 50, "+pitch+", feeds: [{at: start, from: fat}]}\n")
		got := New(p).Problems
		if len(got) != 1 || !strings.Contains(got[0].What, "feeder fat: a fuse of 40 A does not protect its wire: 18 AWG copper may have 7 A") || got[0].Where.String() != "test.yaml:3:65" {
			t.Errorf("%v", got)
		}
	})
	t.Run("supply and controller", func(t *testing.T) {
		var w strings.Builder
		w.WriteString(strings.Replace(supplies, "fuse_amps: 40", "fuse_amps: 30", 1) + "strings:\n")
		for _, n := range []string{"1", "2", "3", "4", "5"} {
			w.WriteString("  - {name: s" + n + ", controller: c, port: " + n + ", universe: " + n + ", pixels: 100, supply: a, fuse_amps: 7, pitch: {awg: 16, millimetres: 50}}\n")
		}
		got := New(configtest.Load(t, w.String())).Problems
		if len(got) != 2 || !strings.Contains(got[0].What, "supply a: full white of everything on it takes 27.8 A, it may give 23.3 A") ||
			!strings.Contains(got[1].What, "controller c: full white takes 27.8 A through its power input, which may carry 8 A") {
			t.Errorf("%v", got)
		}
	})
}

// What is not known is absent and noted, and no problem.
func TestUnknown(t *testing.T) {
	p := configtest.Load(t, "strings:\n  - {name: bare, universe: 1, pixels: 50}\n  - {name: odd, universe: 2, pixels: 50, chip: {name: xy123, kilobits: 800, bits: 24}}\n")
	b := New(p)
	if len(b.Problems) > 0 {
		t.Errorf("a bare plan has problems: %v", b.Problems)
	}
	bare, odd := b.Strings[0], b.Strings[1]
	if bare.LowestVolts != 0 || bare.WireHeatWatts != 0 || bare.ChipAware != nil || bare.FullWhiteAmps != 2.775 || bare.WithinFusesKnown {
		t.Errorf("bare: %+v", bare)
	}
	if odd.FullWhiteAmps != 0 || odd.Feeds[0].FullWhiteAmps != 0 || odd.DataMS != 0 || odd.WithinFusesPercent != 30 {
		t.Errorf("odd: %+v", odd)
	}
	if len(b.Notes) == 0 {
		t.Error("nothing is noted")
	}
}

// Each feed lost in turn.
func TestLostFeeds(t *testing.T) {
	b := New(configtest.Load(t, meterPlan))
	s := b.Strings[0]
	for i, want := range []string{"the fuse of the feed at end may blow: 5.5 A through 5 A", "the fuse of the feed at start may blow: 5.5 A through 5 A"} {
		lost := s.Feeds[i].Lost
		if lost == nil || lost.Dark || len(lost.Fails) == 0 || lost.Fails[0] != want {
			t.Errorf("feed %d lost: %+v, want %q", i, lost, want)
		}
	}
	// What is left is the string with one feed.
	alone := New(configtest.Load(t, strings.Replace(meterPlan, ", {at: end, awg: 16, metres: 6}", "", 1))).Strings[0]
	near(t, "lowest volts", s.Feeds[1].Lost.LowestVolts, alone.LowestVolts, 1e-6)
	if lost := alone.Feeds[0].Lost; lost == nil || !lost.Dark {
		t.Errorf("the only feed lost: %+v", lost)
	}
}

// One more feed at the middle of a string that is fed at both ends, in the far
// part of one that is fed at its start: two thirds along, since the drop of the
// open end is that of a part half as long as one between two feeds.
func TestOneMoreFeed(t *testing.T) {
	for keys, want := range map[string]int{
		"feeds: [{at: start}]":                                       267,
		"feeds: [{at: start}, {at: end}]":                            200,
		"cut_positive_after: [120], feeds: [{at: start}, {at: end}]": 186, // the return across the cut helps
	} {
		b := New(configtest.Load(t, "supplies: [{name: a, volts: 12, watts: 600}]\nstrings:\n  - {name: s, universe: 1, pixels: 400, amps_per_pixel: 0.05, supply: a, pitch: {awg: 18, millimetres: 100}, "+keys+"}\n"))
		x := b.Strings[0].OneMoreFeed
		if x == nil || x.At < want-1 || x.At > want+1 {
			t.Fatalf("%s: one more feed %+v, want at %d", keys, x, want)
		}
		// Every other place is no better.
		p := b.plan
		best := 0.0
		for at := 1; at <= 400; at++ {
			f := &config.Feed{At: "here", Address: at, Supply: p.Supplies[0], FuseContinuousShare: 0.75}
			s := *p.Strings[0]
			s.Feeds = append(append([]*config.Feed(nil), s.Feeds...), f)
			if at == 400 && len(s.Feeds) == 3 {
				continue
			}
			g := newGroup([]*config.String{&s}, nil, 20, plain())
			g.ladders[0].chip = b.Strings[0].Chip
			g.solve(g.ladders, fullWhite, constant)
			v, _ := g.ladders[0].lowest()
			best = max(best, v)
		}
		near(t, keys+": lowest volts with it", x.LowestVolts, best, 1e-6)
	}
}

// The level up to which the lowest pixel works is where it works and no more.
func TestWorkingLevel(t *testing.T) {
	b := New(configtest.Load(t, "supplies: [{name: a, volts: 12, watts: 600}]\nstrings:\n  - {name: s, universe: 1, pixels: 200, amps_per_pixel: 0.05, supply: a, pitch: {awg: 18, millimetres: 100}}\n"))
	level := b.Strings[0].WorkingLevelPercent / 100
	if level <= 0 || level >= 1 {
		t.Fatalf("working level %g", level)
	}
	g, l := b.rebuildAt(0, plain())
	g.solve(g.ladders, func(l *ladder, k int) float64 { return l.pixelAmps(k, level) }, constant)
	v, _ := l.lowest()
	near(t, "lowest volts at that level", v, 10.4, 1e-6)
}
