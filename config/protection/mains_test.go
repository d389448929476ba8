package protection

import (
	"fmt"
	"strings"
	"testing"
)

func onMains(t *testing.T, count int, supply, mains string) *Report {
	t.Helper()
	var names []string
	var w strings.Builder
	w.WriteString("supplies:\n")
	for i := range count {
		names = append(names, fmt.Sprintf("s%d", i))
		fmt.Fprintf(&w, "  - {name: s%d, volts: 12, %s}\n", i, supply)
	}
	fmt.Fprintf(&w, "mains: [{name: pier, %s, supplies: [%s]}]\n", mains, strings.Join(names, ", "))
	w.WriteString("strings: [{name: quay, universe: 1, pixels: 1, supply: s0, amps_per_pixel: 0.06, fuse_amps: 1, pitch: {awg: 18, metres: 1}}]\n")
	p, b, _ := made(t, w.String())
	return New(p, b)
}

func says(r *Report, what string) bool {
	for _, p := range r.Problems {
		if strings.Contains(p.What, what) {
			return true
		}
	}
	return false
}

// 42 supplies of 75 W with 0.87 on 16 A at 230 V fill a breaker (a supply maker's
// sheet, from an excerpt), and 34 its 80 %.
func TestBreaker(t *testing.T) {
	const supply, mains = "watts: 75, efficiency: 87%, power_factor: 100%, inrush_amps: 1, leakage_ma: 0.1", "volts: 230, breaker_amps: 16, curve: C"
	for _, c := range []struct {
		count int
		full  bool
		over  bool
	}{{34, true, false}, {35, true, true}, {42, true, true}, {43, false, true}} {
		r := onMains(t, c.count, supply, mains)
		if full := r.Mains[0].Amps <= 16; full != c.full {
			t.Errorf("%d supplies take %g A", c.count, r.Mains[0].Amps)
		}
		if says(r, "carries 12.8 A for long") != c.over {
			t.Errorf("%d supplies: %v", c.count, r.Problems)
		}
	}
}

// C16 and 70 A each: one at a time (two suppliers' inrush notes, from excerpts).
func TestInrush(t *testing.T) {
	r := onMains(t, 2, "watts: 75, inrush_amps: 70", "volts: 230, breaker_amps: 16, curve: C")
	if r.Mains[0].SwitchAtOnce != 1 || !says(r, "may draw 140 A for a moment; its breaker may trip from 80 A on") {
		t.Errorf("%+v %v", r.Mains, r.Problems)
	}
	if r := onMains(t, 1, "watts: 75, inrush_amps: 70", "volts: 230, breaker_amps: 16, curve: C"); says(r, "for a moment") {
		t.Error(r.Problems)
	}
}

// The curve that is named bears at least one supply's inrush: by hand, C trips from five times
// its rating on, D from ten.
func TestSlowerBreaker(t *testing.T) {
	for _, tt := range []struct {
		count int
		mains string
		mend  string
	}{
		{1, "breaker_amps: 16, curve: B", "have a breaker of curve C fitted;"}, // 48 A, 80 A
		{2, "breaker_amps: 16, curve: B", "have a breaker of curve C fitted, and switch on 1 at a time;"},
		{2, "breaker_amps: 6, curve: C", "have a breaker of curve D fitted, and switch on 1 at a time;"}, // 30 A, 60 A
		{1, "breaker_amps: 3, curve: C", "have an inrush limiter fitted ahead of them;"},                 // 30 A at most
	} {
		said := false
		r := onMains(t, tt.count, "watts: 75, inrush_amps: 60", "volts: 230, "+tt.mains)
		for _, f := range r.Findings {
			said = said || strings.Contains(f.What, "for a moment") && strings.HasPrefix(f.Mend, tt.mend)
		}
		if !said {
			t.Errorf("%d on %s: %+v", tt.count, tt.mains, r.Findings)
		}
	}
}

// 30 mA at a quarter bears 7.5 mA: two supplies of 3.5 mA, not three (by hand).
func TestLeakage(t *testing.T) {
	for count, trips := range map[int]bool{2: false, 3: true} {
		if r := onMains(t, count, "watts: 75", "volts: 230, breaker_amps: 16, curve: D, rcd_ma: 30"); says(r, "may leak") != trips {
			t.Errorf("%d supplies: %v", count, r.Problems)
		}
	}
}
