package light

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/patterns"
)

// Case E1 of config/budget's tests from a plan: ngspice gives 2.775 A and 11.703505 V
// at the last pixel. Half the pixels at full level are half the current.
func TestExpected(t *testing.T) {
	p := configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: e1, universe: 1, channel: 1, pixels: 50, chip: ws2811, amps_per_pixel: 0.0555, idle_amps_per_pixel: 0,
     supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}}
`)
	b := budget.New(p)
	e, ok := Expected(b, p.Strings[0], Lit{Pattern: patterns.FullWhite, Level: 1}, 0)
	if !ok || math.Abs(e.Feeds[0]-2.775) > 1e-6 || math.Abs(e.Volts[49]-11.703505) > 2e-4 {
		t.Errorf("full white: %+v, %v", e, ok)
	}
	e, ok = Expected(b, p.Strings[0], Lit{Pattern: patterns.FullWhite, Options: patterns.Options{Count: 25}, Level: 1}, 0)
	if !ok || math.Abs(e.Feeds[0]-2.775/2) > 1e-6 {
		t.Errorf("25 pixels: %+v, %v", e, ok)
	}
	e, ok = Expected(b, p.Strings[0], Lit{Pattern: patterns.Dark, Level: 1}, 12.5)
	if !ok || e.Feeds[0] != 0 || math.Abs(e.Volts[49]-12.5) > 1e-9 {
		t.Errorf("dark: %+v, %v", e, ok)
	}
	if _, ok := Expected(b, p.Strings[0], Lit{Pattern: "snow"}, 0); ok {
		t.Error("snow is expected to draw something")
	}
}

// A run without addresses is plain to a pattern, and a string keeps its number in a
// part of the plan.
func TestLayout(t *testing.T) {
	p, _ := config.Load("p.yaml", strings.NewReader(`
controllers: [{name: x}, {name: y}]
strings:
  - {name: a, controller: x, universe: 1, pixels: 50}
  - {name: flood, controller: y, universe: 2, pixels: 1, chip: none}
  - {name: c, controller: y, universe: 3, pixels: 20, order: GRBW, chip: sk6812-rgbw}
`))
	part, _ := p.Shard([]string{"y"})
	for i, want := range []patterns.Layout{{Pixels: 1, Order: "RGB", Number: 2, Plain: true}, {Pixels: 20, Order: "GRBW", Number: 3}} {
		if got := Layout(part.Strings[i]); !reflect.DeepEqual(got, want) {
			t.Errorf("%s is laid out as %+v, want %+v", part.Strings[i].Name, got, want)
		}
	}
}

// 100 pixels at 0.0555 A on two feeds of 3 A each: full white spreads its light, so
// each feed has half of 5.55 A against the 2.25 A that a fuse carries for long. A
// pattern that lights as much of the string anywhere may put all of it on one feed.
func TestLimit(t *testing.T) {
	p, problems := config.Load("p.yaml", strings.NewReader(`
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: s, universe: 1, pixels: 100, amps_per_pixel: 0.0555, idle_amps_per_pixel: 0, supply: a, fuse_amps: 3,
     pitch: {awg: 18, millimetres: 100}, feeds: [{at: start}, {at: end}]}
`))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	b := budget.New(p)
	white, _ := patterns.Lookup(patterns.FullWhite)
	walk, _ := patterns.Lookup("walk")
	if c := Limit(b, white, []float64{1}); math.Abs(c.Level-2.25/2.775) > 0.01 {
		t.Errorf("full white: %+v", c)
	}
	if spread, anywhere := Limit(b, white, []float64{0.5}), Limit(b, walk, []float64{0.5}); spread.Level != 1 || anywhere.Level >= 1 {
		t.Errorf("half of the light: spread %+v, anywhere %+v", spread, anywhere)
	}
}

func TestColours(t *testing.T) {
	if got := strings.Join(Colours("GRBW"), " ") + Colour('x'); got != "green red blue white" {
		t.Errorf("GRBW is %s", got)
	}
}
