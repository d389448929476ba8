package belief

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// shared is a yard whose strings hang on one another's parts, crosswise: no two parts
// have the same strings.
//
//	string      a0    a1    a2    a3    b0    b1    b2    b3
//	controller  quay  quay  quay  quay  quay  gable gable gable
//	receiver    1     1     2     2     -     1     1     -
//	fed from    near  far   near  far   far   near  both  near
//	universe    1     2     2     3     3     4     2     5
//	chip, amps  x     x     y     y     y     x     y     y
func shared(t testing.TB, name string) *Subject {
	t.Helper()
	var b strings.Builder
	b.WriteString("name: street\ncontrollers: [{name: quay, on_loss: dark}, {name: gable, on_loss: dark}]\nsupplies: [{name: a, volts: 12, watts: 600}, {name: b, volts: 12, watts: 600}]\n" +
		"feeders: [{name: near, supply: a, awg: 14, metres: 5, fuse_amps: 15}, {name: far, supply: b, awg: 14, metres: 5, fuse_amps: 15}]\nstrings:\n")
	for _, s := range []struct {
		name, controller, port, feeder string
		universe, channel              int
		amps                           float64
	}{
		{"a0", "quay", "port: 1, receiver: \"1\", output: \"1\"", "near", 1, 1, 0.05}, {"a1", "quay", "port: 1, receiver: \"1\", output: \"2\"", "far", 2, 1, 0.05},
		{"a2", "quay", "port: 1, receiver: \"2\", output: \"1\"", "near", 2, 101, 0.04}, {"a3", "quay", "port: 1, receiver: \"2\", output: \"2\"", "far", 3, 1, 0.04},
		{"b0", "quay", "port: 2", "far", 3, 101, 0.04}, {"b1", "gable", "port: 1, receiver: \"1\", output: \"1\"", "near", 4, 1, 0.05},
		{"b2", "gable", "port: 1, receiver: \"1\", output: \"2\"", "both", 2, 201, 0.04}, {"b3", "gable", "port: 2", "near", 5, 1, 0.04},
	} {
		feeds := fmt.Sprintf("{at: start, from: %s, awg: 16, metres: 2}", s.feeder)
		if s.feeder == "both" {
			feeds = "{at: start, from: near, awg: 16, metres: 2}, {at: end, from: far, awg: 16, metres: 2}"
		}
		fmt.Fprintf(&b, "  - {name: %s, controller: %s, %s, universe: %d, channel: %d, pixels: 20, order: RGB, chip: ws2811, amps_per_pixel: %g, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}, feeds: [%s]}\n",
			s.name, s.controller, s.port, s.universe, s.channel, s.amps, feeds)
	}
	p, problems := config.Load("street.yaml", strings.NewReader(b.String()))
	for _, e := range problems {
		if e.Severity == config.Error {
			t.Fatal(e)
		}
	}
	return &Subject{Plan: p, Budget: budget.New(p), String: p.Find(name), Lit: light.Lit{Pattern: patterns.FullWhite, Level: 0.5}, Volt: config.Meter{Share: 0.005, Fixed: 0.03}}
}

// What is wrong is what all those strings hang on that show the same, and none of the
// others do.
func TestWhatTheySharePutsItRight(t *testing.T) {
	for _, c := range []struct {
		of   string
		sign Sign
		same string
		also []Look
		want Kind
		says string
	}{
		{"a0", AllDark, "a1", nil, NoReceiver, "receiver 1 on port 1 of controller quay"},
		{"a0", AllDark, "a1 a2 a3", nil, NoLink, "port 1 of controller quay"},
		{"a0", AllDark, "a1 a2 a3 b0", nil, Delivery, "controller quay"},
		{"a1", AllDark, "a2 b2", nil, NoUniverse, "universe 2"},
		{"a0", AllDark, "a2 b1 b3", []Look{{Test: Volts, Value: 12}}, OpenFeeder, "feeder near"},
		{"a1", AllDark, "a3 b0", []Look{{Test: Volts, Value: 12}}, OpenFeeder, "feeder far"},
		{"a0", AllDark, "a2 b1 b3", []Look{{Test: Volts, Value: 0}}, SupplyOff, "supply a"},
		{"a2", Noise, "a3 b0 b2 b3", nil, BadBatch, "batch"},
		{"a2", Noise, "", nil, DataLead, ""},
		{"a0", AllDark, "", []Look{{Test: Volts, Value: 12}}, OpenFeed, "the feed at start"},
		{"b2", Fine, "", []Look{{Test: Amps, Feed: 1, Value: 0, Dark: new(0.0)}, {Test: Volts, Value: 12}}, OpenFeed, "the feed at end"},
	} {
		s := shared(t, c.of)
		l := Look{Test: White, Sign: c.sign}
		same := strings.Fields(c.same)
		for i, o := range s.Plan.Strings {
			if o != s.String {
				l.Others = append(l.Others, Other{i, slices.Contains(same, o.Name)})
			}
		}
		v, err := s.Weigh(append([]Look{l}, c.also...))
		if err != nil {
			t.Fatal(err)
		}
		if first := v.Causes[0]; first.Kind != c.want || !strings.Contains(first.Text, c.says) {
			t.Errorf("%s %s with %q: %+v", c.of, c.sign, c.same, v.Causes[:min(3, len(v.Causes))])
		}
	}
}

// A string that two supplies feed loses one of them, and not its light.
func TestOneOfTwoSupplies(t *testing.T) {
	s := shared(t, "b2")
	e, _ := light.Expected(s.Budget, s.String, s.Lit, 0)
	dark, _ := light.Expected(s.Budget, s.String, light.Lit{Pattern: patterns.Dark}, 0)
	l := Look{Test: White, Sign: Fine}
	v, err := s.Weigh([]Look{l, {Test: Ends, Sign: Fine}, {Test: Amps, Feed: 0, Value: 0, Dark: new(0.0)}, {Test: Amps, Feed: 1, Value: e.Amps, Dark: new(dark.Amps)}, {Test: Volts, Value: 0}})
	if err != nil {
		t.Fatal(err)
	}
	if first := v.Causes[0]; first.Kind != SupplyOff || first.Feed != 1 || !strings.Contains(first.Text, "supply a") {
		t.Errorf("%+v", v.Causes[:3])
	}
}
