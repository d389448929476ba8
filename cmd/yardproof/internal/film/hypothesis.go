package film

import (
	"math"
	"slices"

	"yardproof/config"
	"yardproof/patterns"
)

// hypothesis is one way in which a string may be set up: the address of the first
// slot of each of its pixels, as they hang; -1: it gets no data.
type hypothesis struct {
	kind  Kind // "": as planned
	count int
	other int // of KindSwapped: the string
	first []int
}

// Bounds of what is tried.
const (
	maxShift = 96 // slots
	maxNulls = 12 // pixels
)

// hypotheses are all ways that are tried. Where pixels hang is known only by a layout:
// without one, some look like each other and are left out.
func (y *yard) hypotheses(str int, placed bool) []hypothesis {
	p := y.strings[str]
	n := len(p.first)
	all := []hypothesis{{first: p.first}}
	pack := config.PackWhole
	if p.Controller != nil && p.Controller.Pack != "" {
		pack = p.Controller.Pack
	}
	start := p.first[0]
	for d := -maxShift; d <= maxShift; d++ {
		if d != 0 && start+d >= 0 {
			all = append(all, hypothesis{kind: KindStart, count: d, first: lay(start+d, n, p.slots, pack)})
		}
	}
	other := config.PackContinuous
	if pack == config.PackContinuous {
		other = config.PackWhole
	}
	if first := lay(start, n, p.slots, other); first[n-1] != p.first[n-1] {
		all = append(all, hypothesis{kind: KindPacking, first: first})
	}
	if !placed {
		return all
	}
	reversed := make([]int, n)
	for k, a := range p.first {
		reversed[n-1-k] = a
	}
	all = append(all, hypothesis{kind: KindReversed, first: reversed})
	for k := 1; k <= min(maxNulls, n-1); k++ {
		later := make([]int, n) // the port skips k pixels too many
		for i := range later {
			if later[i] = -1; i >= k {
				later[i] = p.first[i-k]
			}
		}
		sooner := make([]int, n) // and too few
		for i := range sooner {
			if sooner[i] = -1; i+k < n {
				sooner[i] = p.first[i+k]
			}
		}
		all = append(all, hypothesis{kind: KindNulls, count: k, first: later}, hypothesis{kind: KindNulls, count: -k, first: sooner})
	}
	for i, o := range y.strings {
		if i != str && o.slots == p.slots {
			all = append(all, hypothesis{kind: KindSwapped, other: i, first: o.first})
		}
	}
	return all
}

// lay is where pixels lie from an address on.
func lay(at, n, slots int, pack config.Pack) []int {
	first := make([]int, n)
	for i := range first {
		if room := patterns.CodeUniverse - at%patterns.CodeUniverse; pack != config.PackContinuous && room < slots {
			at += room
		}
		first[i] = at
		at += slots
	}
	return first
}

// seen is one light of a string: its address, and where along the string it is, in
// pixels from 0; NaN: not known.
type seen struct {
	first int
	at    float64
}

// penalty is what a hypothesis must explain more than that all is as planned: little
// where lights show what the plan has nowhere, more where only a drawing tells.
func (h hypothesis) penalty() float64 {
	switch h.kind {
	case "":
		return 0
	case KindNulls, KindReversed, KindSwapped:
		return 1.5 + .15*float64(len(h.first))
	}
	return 1.5
}

// score is how much of what is seen a hypothesis explains, less what it does not, and
// less what it says that is not seen.
func (h hypothesis) score(lights []seen) float64 {
	at := make(map[int]int, len(h.first))
	sent := 0.0
	for k, a := range h.first {
		if a >= 0 {
			at[a] = k
			sent++
		}
	}
	hits, foreign, found := 0.0, 0.0, map[int]bool{}
	for _, l := range lights {
		k, ok := at[l.first]
		share := 0.0
		if ok {
			share = 1
			if !math.IsNaN(l.at) {
				share = max(0, 1-math.Abs(l.at-float64(k)))
			}
		}
		hits, foreign = hits+share, foreign+1-share
		if share > 0 {
			found[l.first] = true
		}
	}
	return hits - .5*foreign - .5*(sent-float64(len(found))) - h.penalty()
}

// best is the hypothesis that explains most. That a string begins elsewhere must show
// in an address that it should not have: else nulls explain as much.
func best(all []hypothesis, lights []seen) hypothesis {
	planned := make(map[int]bool, len(all[0].first))
	for _, a := range all[0].first {
		planned[a] = true
	}
	at, most := 0, math.Inf(-1)
	for i, h := range all {
		if h.kind == KindStart || h.kind == KindPacking {
			if !slices.ContainsFunc(lights, func(l seen) bool { return !planned[l.first] && slices.Contains(h.first, l.first) }) {
				continue
			}
		}
		if s := h.score(lights); s > most {
			at, most = i, s
		}
	}
	return all[at]
}
