package config

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"strings"
	"yardproof/sacn"
)

//go:embed demo.yaml
var demo []byte

// Demo returns the plan of the demonstration: winter lights of a harbour street,
// sent by multicast on the loopback interface.
func Demo() (*Plan, []Problem) { return Load("demo.yaml", bytes.NewReader(demo)) }

// DemoText is the demonstration's plan as text.
func DemoText() string { return string(demo) }

// One is what a command line says of one string; what is left out has a plan's default.
type One struct {
	Universe, Pixels             int
	Order, Chip                  string
	Volts, FuseAmps, SupplyWatts float64
}

// byFlags stands for the file of a plan that is made of flags.
const byFlags = "command line"

// Ask tells a user to say what keys of the plan stand for: by flags, where the plan is
// made of flags and there is one for each.
func (p *Plan) Ask(keys ...string) string {
	if p.File != byFlags {
		return "set " + and(keys)
	}
	var flags []string
	for _, key := range keys {
		switch key {
		case "supply":
			if p.Strings[0].Volts <= 0 {
				flags = append(flags, "--volts")
			}
			flags = append(flags, "--supply-watts")
		case "watts":
			flags = append(flags, "--supply-watts")
		case "volts", "fuse_amps":
			flags = append(flags, flag(key))
		default:
			return "write a plan that sets " + and(keys)
		}
	}
	return "give " + and(flags)
}

func flag(key string) string { return "--" + strings.ReplaceAll(key, "_", "-") }

// and lists words: a, b and c.
func and(words []string) string {
	if n := len(words) - 1; n > 0 {
		return strings.Join(words[:n], ", ") + " and " + words[n]
	}
	return strings.Join(words, "")
}

// OneString returns the plan that stands for a command line's string: one named
// "string", by multicast.
func OneString(one One) (*Plan, []Problem) {
	p := newPlan(byFlags)
	d := &decoder{plan: p}
	universe, pixels := one.Universe, one.Pixels
	s := &String{Name: "string", Channel: 1, Pixels: pixels, Order: "RGB", Volts: one.Volts,
		Chip: Chip{Name: cmp.Or(strings.ToLower(one.Chip), defaultChip)}, IdleAmpsPerPixel: -1, Brightness: 1, Gamma: 1, Copies: 1, Flow: Forward}
	if one.Order != "" {
		if order, ok := parseOrder(one.Order); ok {
			s.Order = order
		} else {
			d.errorf(Mark{}, orderAdvice, "--order cannot be %s", quote(one.Order))
		}
	}
	if !(one.Volts >= 0 && one.Volts <= 60) {
		d.errorf(Mark{}, "give more than 0 V and at most 60 V", "--volts cannot be %g", one.Volts)
	}
	feed := &Feed{Address: 1, At: "start", Wire: Wire{Metal: Copper}, FuseAmps: one.FuseAmps, FuseContinuousShare: defaultFuseUse}
	if !(one.FuseAmps >= 0 && one.FuseAmps <= 1000) {
		d.errorf(Mark{}, "give more than 0 A and at most 1000 A", "--fuse-amps cannot be %g", one.FuseAmps)
	}
	if !(one.SupplyWatts >= 0 && one.SupplyWatts <= 1e5) {
		d.errorf(Mark{}, "give more than 0 W and at most 100000 W", "--supply-watts cannot be %g", one.SupplyWatts)
	}
	if one.SupplyWatts > 0 {
		feed.Supply = &Supply{Name: "supply", Volts: one.Volts, Watts: one.SupplyWatts, ContinuousShare: defaultSupplyUse}
		p.Supplies = []*Supply{feed.Supply}
	}
	s.Feeds = []*Feed{feed}
	p.Strings = []*String{s}
	if universe < sacn.MinUniverse || universe > sacn.MaxUniverse {
		d.errorf(Mark{}, "give 1 to 63999", "--universe cannot be %d", universe)
	} else {
		s.Universe = uint16(universe)
	}
	if pixels == 0 {
		d.errorf(Mark{}, "count the pixels of the string, such as --pixels 50", "--pixels is missing")
	} else if pixels < 1 || pixels > MaxStringPixels {
		d.errorf(Mark{}, fmt.Sprintf("give 1 to %d", MaxStringPixels), "--pixels cannot be %d", pixels)
	}
	d.checkMap()
	return p, d.all()
}
