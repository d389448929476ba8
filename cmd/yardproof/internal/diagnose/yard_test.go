package diagnose

import (
	"math"
	"slices"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

func demo(t testing.TB) *config.Plan {
	t.Helper()
	p, problems := config.Demo()
	for _, pr := range problems {
		if pr.Severity == config.Error {
			t.Fatal(pr)
		}
	}
	return p
}

// Where colours rotate by universes of 510 and 512 depends on the first channel.
func TestLastLitRotates(t *testing.T) {
	p, _ := config.Load("street.yaml", strings.NewReader(`
strings:
  - {name: one, universe: 1, pixels: 300}
  - {name: late, universe: 11, channel: 151, pixels: 300}
  - {name: odd, universe: 21, channel: 2, pixels: 300}
  - {name: four, universe: 31, pixels: 300, order: RGBW, chip: sk6812-rgbw}
`))
	for _, tt := range []struct {
		name  string
		pixel int
		says  string // "": not that
	}{{"one", 170, "Blue from 171 and green from 342"}, {"one", 120, ""}, {"late", 120, "Blue from 121:"}, {"late", 170, ""}, {"odd", 170, ""}, {"four", 170, ""}} {
		a, err := lastLitAnswer(p, p.Find(tt.name), tt.pixel, 0, TailColours)
		next := strings.Join(a.Next, " ")
		if err != nil || strings.Contains(a.Finding, "rotate") != (tt.says != "") || !strings.Contains(next, tt.says) {
			t.Errorf("%+v: %s %s, %v", tt, a.Finding, next, err)
		}
	}
}

// A frozen tail has power: nothing that brings power is to blame.
func TestLastLitFrozen(t *testing.T) {
	p, _ := config.Load("fed.yaml", strings.NewReader(`
supplies: [{name: a, volts: 12, watts: 350}]
strings: [{name: s, universe: 1, pixels: 100, chip: ws2811, supply: a, jumpers: [{after: 50, metres: 2, awg: 18}], feeds: [{at: start}, {at: 50}]}]
`))
	for _, tt := range []struct {
		pixel int
		tail  Tail
		want  string // the first cause
	}{
		{50, TailDark, "the plan has a jumper of 2 m"},
		{49, TailDark, "power enters at pixel 50"},
		{49, TailFrozen, "the data input of pixel 50"},
		{1, TailFrozen, "the data input of pixel 2"},
		{1, TailDark, "the output of pixel 1"},
	} {
		a, err := lastLitAnswer(p, p.Strings[0], tt.pixel, 0, tt.tail)
		if err != nil || !strings.HasPrefix(a.Causes[0], tt.want) {
			t.Errorf("%+v: %q, %v", tt, a.Causes, err)
		}
	}
}

// From every break on every length, halving ends at it, in no more looks than
// said, and those are the fewest there can be.
func TestSearchFindsEveryBreak(t *testing.T) {
	for _, pixels := range []int{1, 2, 3, 50, 100, 680} {
		for good := 0; good <= pixels; good++ {
			s := NewSearch(pixels)
			allowed, looks := s.Steps(), 0
			if want := int(math.Ceil(math.Log2(float64(pixels + 1)))); allowed != want {
				t.Fatalf("%d pixels take %d looks, want %d", pixels, allowed, want)
			}
			for !s.Found() {
				p := s.Next()
				if p < 1 || p > pixels {
					t.Fatalf("pixel %d of %d", p, pixels)
				}
				s = s.Saw(p, p <= good)
				looks++
			}
			if s.Good != good || s.Dark != good+1 || looks > allowed {
				t.Fatalf("%d pixels, good up to %d: found %+v in %d looks of %d", pixels, good, s, looks, allowed)
			}
		}
	}
}

func TestSearchAnswer(t *testing.T) {
	a, err := NewSearch(100).Answer(100)
	if err != nil || !strings.Contains(strings.Join(a.Next, " "), "half with pixel 50") || !strings.Contains(a.Finding, "7 more looks") {
		t.Errorf("%+v, %v", a, err)
	}
	a, err = Search{41, 42}.Answer(100)
	if err != nil || !strings.Contains(strings.Join(a.Next, " "), "Replace pixel 42 first, then pixel 41") {
		t.Errorf("%+v, %v", a, err)
	}
	for _, s := range []Search{{5, 5}, {-1, 3}, {9, 200}} {
		if _, err := s.Answer(100); err == nil {
			t.Errorf("%+v is accepted", s)
		}
	}
}

func TestLastLit(t *testing.T) {
	p := demo(t)
	for _, tt := range []struct {
		name  string
		pixel int
		tail  Tail
		wrong bool
		says  string
	}{
		{"quay-rail-west", 60, TailDark, true, "jumper of 4 m after pixel 60"},
		{"quay-rail-west", 0, TailUnknown, true, "controller's own test"},
		{"quay-rail-west", 1, TailDark, true, "Replace pixel 2 first, then pixel 1"},
		{"quay-rail-west", 120, TailUnknown, false, "ends"},
		{"quay-rail-west", 30, TailFrozen, true, "the data is broken there, and the power is good"},
		{"quay-rail-west", 30, TailUnknown, true, "Send dark"},
		{"quay-rail-west", 30, TailSparkle, true, "weak joint between pixels 30 and 31"},
		{"lighthouse-turn-3", 50, TailDark, true, "first of universe 32"}, // 361 + 150 = 511: it straddles
	} {
		a, err := lastLitAnswer(p, p.Find(tt.name), tt.pixel, 0, tt.tail)
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		all := a.Finding + strings.Join(append(a.Causes, a.Next...), " ")
		if a.Wrong != tt.wrong || !strings.Contains(all, tt.says) {
			t.Errorf("%+v: wrong %v: %s", tt, a.Wrong, all)
		}
	}
	if a, err := lastLitAnswer(nil, nil, 170, 400, TailColours); err != nil || !strings.Contains(strings.Join(a.Next, " "), "Blue from 171") {
		t.Errorf("170: %+v, %v", a, err)
	}
	if _, err := lastLitAnswer(p, p.Find("gable-left"), 51, 0, TailDark); err == nil {
		t.Error("pixel 51 of 50 is accepted")
	}
	if _, err := lastLitAnswer(nil, nil, 5, 0, "purple"); err == nil {
		t.Error("a purple tail is accepted")
	}
}

func TestAnswered(t *testing.T) {
	p := demo(t)
	a, err := answered(p, map[string]string{"gable-left": "gable-right", "gable-right": "gable-left"})
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Join(a.PlanLines, "\n")
	for _, want := range []string{
		"gable-left: controller: boathouse, port: 4, universe: 21, channel: 151",
		"gable-right: controller: boathouse, port: 3, universe: 21, channel: 1",
		"demo.yaml:",
	} {
		if !strings.Contains(lines, want) {
			t.Errorf("%q is not in:\n%s", want, lines)
		}
	}
	if next := strings.Join(a.Next, " "); strings.Contains(next, "differ") || strings.Contains(next, "Find where") {
		t.Errorf("a plain swap gives: %s", next)
	}
	a, err = answered(p, map[string]string{"gable-left": "gable-ridge"})
	if next := strings.Join(a.Next, " "); err != nil || !strings.Contains(next, "differ") || !strings.Contains(next, "Find where gable-left is") {
		t.Errorf("half a swap gives: %s, %v", next, err)
	}
	if a, err = answered(p, map[string]string{"gable-left": "gable-left"}); err != nil || a.Wrong {
		t.Errorf("a right answer gives %+v, %v", a, err)
	}
	for _, bad := range []map[string]string{{"gable-left": "gable-rihgt"}, {"gable-left": "gable-ridge", "gable-right": "gable-ridge"}} {
		if _, err := answered(p, bad); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
}

func TestShared(t *testing.T) {
	p := demo(t)
	for _, tt := range []struct {
		dark    string
		first   string
		working int
	}{
		{"quay-rail-west quay-rail-east", "supply boathouse-a", 0},
		{"gable-left gable-right gable-ridge", "supply boathouse-b", 0},
		{"bandstand-roof-north bandstand-roof-south bandstand-rail", "supply bandstand-a", 0},
		{"lighthouse-turn-1 lighthouse-turn-2 lighthouse-turn-3 lighthouse-turn-4", "port 1 of lighthouse", 0},
		{"quay-rail-west quay-rail-east gable-left gable-right gable-ridge", "controller boathouse", 0},
		{"lighthouse-turn-3 lighthouse-turn-4", "the joint from lighthouse-turn-2 to lighthouse-turn-3", 0}, // 1 and 2 work, so their port does
		{"lighthouse-turn-4", "the joint from lighthouse-turn-3 to lighthouse-turn-4", 0},
		{"quay-rail-west gable-ridge", "universes 11 to 21", 3}, // nothing is only theirs
	} {
		all, a, err := shared(p, strings.Fields(tt.dark))
		if err != nil || len(all) == 0 {
			t.Errorf("%s: %v, %v", tt.dark, all, err)
			continue
		}
		if tt.working == 0 && (all[0].What != tt.first || len(all[0].Working) != 0) {
			t.Errorf("%s: first %+v, want %s", tt.dark, all[0], tt.first)
		}
		if tt.working > 0 && len(all[0].Working) != tt.working {
			t.Errorf("%s: first %+v, want %d working beside", tt.dark, all[0], tt.working)
		}
		if !a.Wrong || len(a.Next) == 0 {
			t.Errorf("%s: %+v", tt.dark, a)
		}
	}
	var every []string
	for _, one := range p.Strings {
		every = append(every, one.Name)
	}
	if all, _, err := shared(p, every); err != nil || !strings.HasPrefix(all[0].What, "the transmitter") {
		t.Errorf("every string: first %+v, %v", all[0], err)
	}
	if all, _, err := shared(p, every[1:]); err != nil || slices.ContainsFunc(all, func(c Common) bool { return strings.HasPrefix(c.What, "the transmitter") }) {
		t.Errorf("all but one: %+v, %v", all, err)
	}
	if _, _, err := shared(p, []string{"gable"}); err == nil || !strings.Contains(err.Error(), "gable-left") {
		t.Errorf("an unknown string: %v", err)
	}
}

// Receivers on one link, and feeders.
func TestSharedLinks(t *testing.T) {
	p, problems := config.Load("links.yaml", strings.NewReader(`
controllers: [{name: hut}]
supplies: [{name: big, volts: 12, watts: 600}]
feeders:
  - {name: north, supply: big, awg: 12, metres: 10, fuse_amps: 20}
  - {name: south, supply: big, awg: 12, metres: 10, fuse_amps: 20}
strings:
  - {name: a1, controller: hut, port: 1, receiver: A, output: 1, universe: 1, pixels: 50, feeds: [{at: start, from: north}]}
  - {name: a2, controller: hut, port: 1, receiver: A, output: 2, universe: 2, pixels: 50, feeds: [{at: start, from: south}]}
  - {name: b1, controller: hut, port: 1, receiver: B, output: 1, universe: 3, pixels: 50, feeds: [{at: start, from: south}]}
  - {name: b2, controller: hut, port: 1, receiver: B, output: 2, universe: 9, pixels: 50, feeds: [{at: start, from: north}]}
  - {name: c1, controller: hut, port: 2, universe: 4, pixels: 50, feeds: [{at: start, from: south}]}
`))
	for _, pr := range problems {
		if pr.Severity == config.Error {
			t.Fatal(pr)
		}
	}
	for dark, want := range map[string]string{
		"b1 b2":       "receiver B on the link from port 1 of hut",
		"a1 a2 b1 b2": "port 1 of hut",
		"a2 b1 c1":    "feeder south",
		"a1 b2":       "feeder north",
	} {
		all, a, err := shared(p, strings.Fields(dark))
		if err != nil || all[0].What != want || len(all[0].Working) > 0 || len(a.Next) == 0 {
			t.Errorf("%s: %+v, %v, want %s first", dark, all[0], err, want)
		}
	}
}

func TestAmps(t *testing.T) {
	m := config.Meter{Share: 0.03, Fixed: 0.10}
	for _, tt := range []struct {
		r     reading
		wrong bool
		says  string
	}{
		{reading{Read: 3.70, Expected: 3.75, PerPixel: 0.055, Meter: m}, false, "alike, within the meter's error of 0.21 A"},
		{reading{Read: 3.31, Expected: 3.75, PerPixel: 0.055, Meter: m}, true, "too low by about 8 pixels (give or take 4)"},
		{reading{Read: 3.45, Expected: 3.75, PerPixel: 0.0375, Meter: m}, true, "too low by about 8 pixels (give or take 6)"},
		{reading{Read: 3.86, Dark: new(0.15), Expected: 3.75, ExpectedDark: 0.1, PerPixel: 0.055, Meter: m}, false, "alike"},
		{reading{Read: 0.02, Expected: 2.4, PerPixel: 0.055, Meter: m}, true, "next to nothing"},
		{reading{Read: 2.5, Expected: 3.75, PerPixel: 0.055, Meter: m}, true, "one or two colours do not light"},
		{reading{Read: 7.5, Expected: 3.75, PerPixel: 0.055, Meter: m}, true, "copies"},
		{reading{Read: 3.9, Expected: 2.775, PerPixel: 0.055, Meter: m}, true, "the amps of a pixel in the plan are too low"},
		{reading{Read: 3.3, Expected: 3.75, PerPixel: 0.0275, Planned: 0.055, Meter: m}, true, "0.0484 A a pixel"},
		{reading{Read: 3.3, Expected: 3.75, Meter: m}, true, "too low by 0.45 A"},
		{reading{Read: 3.3, Expected: 3.75, Meter: m, tolerance: &budget.Band{Least: 3.3, Most: 4.1}}, true, "the plan's tolerance allows 3.30 to 4.10 A"},
	} {
		a, err := tt.r.Answer()
		all := a.Finding + strings.Join(append(a.Causes, a.Next...), " ")
		if err != nil || a.Wrong != tt.wrong || !strings.Contains(all, tt.says) {
			t.Errorf("%+v: wrong %v, %v: %s", tt.r, a.Wrong, err, all)
		}
	}
	for _, bad := range []reading{{Read: math.NaN(), Expected: 1}, {Read: 1}, {Read: math.Inf(1), Expected: 1}} {
		if _, err := bad.Answer(); err == nil {
			t.Errorf("%+v is accepted", bad)
		}
	}
}

// The ladder is case E1 of config/budget's tests (50 pixels of 55.5 mA on 2.095 mohm
// a pitch and conductor, from 12 V; ngspice gives 11.703505 V at the last).
func ladder(k int) float64 {
	const n, i, r = 50.0, 0.0555, 0.00419
	x := float64(k)
	return 12 - i*r*(x*n-x*(x-1)/2)
}

func TestVolts(t *testing.T) {
	if math.Abs(ladder(50)-11.703505) > 1e-6 {
		t.Fatalf("the ladder's last is %v", ladder(50))
	}
	m := config.Meter{Share: 0.005, Fixed: 0.03}
	// The supply stands at supply volts; each point has lost so much beyond the ladder.
	at := func(supply float64, lost map[int]float64) (budget.Expectation, []budget.Point) {
		e := budget.Expectation{Supply: 12}
		if _, read := lost[0]; read {
			e.Supply = supply
		}
		var points []budget.Point
		for k := 1; k <= 50; k++ {
			e.Volts = append(e.Volts, ladder(k)-12+e.Supply)
		}
		for k, v := range lost {
			points = append(points, budget.Point{Pixel: k, Volts: supply - 12 + ladder(k) - v})
		}
		return e, points
	}
	for _, tt := range []struct {
		name   string
		supply float64
		lost   map[int]float64
		wrong  bool
		says   string
	}{
		{"as expected", 12, map[int]float64{0: 0, 1: 0, 50: 0.02}, false, "as expected"},
		{"supply high, the rest with it", 12.6, map[int]float64{0: 0, 1: 0, 50: 0}, false, "from a supply of 12.60 V"},
		{"joint", 12, map[int]float64{0: 0, 1: 0, 24: 0.02, 25: 1.12, 50: 1.15}, true, "1.10 V more than expected are lost between pixel 24 and pixel 25"},
		{"halfway", 12, map[int]float64{0: 0, 1: 0, 50: 1.1}, true, "Read the volts at pixel 25"},
		{"lead", 12, map[int]float64{0: 0, 1: 0.9, 50: 0.95}, true, "fuse holder"},
		{"two places", 12, map[int]float64{0: 0, 1: 0.9, 50: 1.5}, true, "Then the same between pixel 1 and pixel 50"},
		{"supply low", 10, map[int]float64{0: 0, 1: 0}, true, "The supply gives 10.00 V"},
		{"nothing is lost, so nothing is drawn", 12, map[int]float64{0: 0, 1: 0, 50: -0.3}, true, "less than expected are lost between pixel 1 and pixel 50"},
		{"the same, no supply read", 12, map[int]float64{1: -0.3, 50: -0.3}, true, "the supply is set higher"},
		{"no supply read", 12, map[int]float64{1: 0.9, 50: 0.9}, true, "Read the volts at the supply too"},
	} {
		e, points := at(tt.supply, tt.lost)
		a, err := voltsAnswer(e, points, 12, m)
		all := a.Finding + strings.Join(append(a.Causes, a.Next...), " ")
		if err != nil || a.Wrong != tt.wrong || !strings.Contains(all, tt.says) {
			t.Errorf("%s: wrong %v, %v: %s", tt.name, a.Wrong, err, all)
		}
	}
	e, _ := at(12, nil)
	for _, bad := range [][]budget.Point{nil, {{Pixel: 1, Volts: math.NaN()}}, {{Pixel: 1, Volts: 5}, {Pixel: 1, Volts: 6}}, {{Pixel: 1, Volts: -3}}, {{Pixel: 51, Volts: 11}}} {
		if _, err := voltsAnswer(e, bad, 12, m); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
}

func TestSymptoms(t *testing.T) {
	all := Symptoms()
	if len(all) != 23 {
		t.Fatalf("%d rows, want 23", len(all))
	}
	for i, s := range all {
		if s.Number != i+1 || s.Symptom == "" || len(s.Causes) == 0 || len(s.Test) == 0 {
			t.Errorf("row %d: %+v", i+1, s)
		}
	}
	for text, want := range map[string]int{
		"":                          1,
		"flicker when bright":       8,
		"candy":                     12,
		"the far end is brown":      9,
		"wrong string lights up":    16,
		"fails in the rain":         19,
		"one pixel dark":            6,
		"colours shift after 170":   13,
		"several strings are dark":  2,
		"dies after ten minutes":    18,
		"everything stutters a bit": 20,
	} {
		if found := FindSymptoms(text); len(found) == 0 || found[0].Number != want {
			t.Errorf("%q finds %v, want row %d first", text, found, want)
		}
	}
	if found := FindSymptoms("zebra"); len(found) != 0 {
		t.Errorf("zebra finds %v", found)
	}
}

// The pair cancels the clamp's zero error, also one below nought, whichever way the
// clamp hangs.
func TestAmpsPairKeepsSigns(t *testing.T) {
	for _, tt := range []struct{ read, dark float64 }{{2.4, 0.1}, {2.1, -0.2}, {-2.4, -0.1}, {-2.1, 0.2}} {
		a, err := reading{Read: tt.read, Dark: &tt.dark, Expected: 2.3, Meter: config.Meter{Fixed: 0.05}}.Answer()
		if err != nil || a.Wrong || !strings.Contains(a.Finding, ": 2.30 A read, 2.30 A expected") {
			t.Errorf("%+v: %s, %v", tt, a.Finding, err)
		}
	}
}
