package config

import (
	"bytes"
	_ "embed"
	"fmt"
	"yardproof/sacn"
)

//go:embed demo.yaml
var demo []byte

// Demo returns the plan of the demonstration: winter lights of a harbour street,
// sent by multicast on the loopback interface.
func Demo() (*Plan, []Problem) { return Load("demo.yaml", bytes.NewReader(demo)) }

// DemoText is the demonstration's plan as text.
func DemoText() string { return string(demo) }

// OneString returns the plan that stands for --universe and --pixels: one string
// named "string" with every default, by multicast.
func OneString(universe, pixels int) (*Plan, []Problem) {
	p := newPlan("command line")
	d := &decoder{plan: p}
	s := &String{Name: "string", Channel: 1, Pixels: pixels, Order: "RGB",
		Chip: Chip{Name: defaultChip}, IdleAmpsPerPixel: -1, Brightness: 1, Gamma: 1, Copies: 1, Flow: Forward}
	s.Feeds = []*Feed{{Address: 1, At: "start", Wire: Wire{Metal: Copper}, FuseContinuousShare: defaultFuseUse}}
	p.Strings = []*String{s}
	if universe < sacn.MinUniverse || universe > sacn.MaxUniverse {
		d.errorf(Mark{}, "give 1 to 63999", "universe cannot be %d", universe)
	} else {
		s.Universe = uint16(universe)
	}
	if pixels < 1 || pixels > MaxStringPixels {
		d.errorf(Mark{}, fmt.Sprintf("give 1 to %d", MaxStringPixels), "pixels cannot be %d", pixels)
	}
	d.checkMap()
	return p, d.all()
}
