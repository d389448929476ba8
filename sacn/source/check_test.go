package source

import (
	"errors"
	"math"
	"net"
	"net/netip"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestRefusals(t *testing.T) {
	one := Scene{Streams: multicasts(1), Render: count}
	with := func(st Stream) Scene { return Scene{Streams: []Stream{st}, Render: count} }
	for _, c := range []struct {
		name   string
		change func(*Config)
		scene  Scene
		want   string // "": accepted
	}{
		{"as it is", func(*Config) {}, one, ""},
		{"44 Hz", func(c *Config) { c.Rate = 44 }, one, ""},
		{"44.2 Hz", func(c *Config) { c.Rate = 44.2 }, one, "above 44.1 frames a second"},
		{"44.2 Hz insisted on", func(c *Config) { c.Rate, c.AllowFast = 44.2, true }, one, ""},
		{"short streams", func(c *Config) { c.Rate = 100 }, with(Stream{Universe: 1, Slots: 170}), ""},
		{"too fast for all", func(c *Config) { c.Rate, c.AllowFast = 1001, true }, one, "outside 1-1000"},
		{"too slow", func(c *Config) { c.Rate = 0.9 }, one, "outside 1-1000"},
		{"no rate", func(c *Config) { c.Rate = math.NaN() }, one, "outside 1-1000"},
		{"spread", func(c *Config) { c.Spread = 1.1 }, one, "spread"},
		{"TTL", func(c *Config) { c.TTL = 0 }, one, "TTL"},
		{"priority", func(c *Config) { c.Priority = 201 }, one, "priority"},
		{"synchronization", func(c *Config) { c.SyncAddress = 64000 }, one, "synchronization"},
		{"universe 0", func(*Config) {}, with(Stream{Slots: 1}), "universe 0"},
		{"universe 64000", func(*Config) {}, with(Stream{Universe: 64000, Slots: 1}), "universe 64000"},
		{"no slots", func(*Config) {}, with(Stream{Universe: 1}), "0 slots"},
		{"513 slots", func(*Config) {}, with(Stream{Universe: 1, Slots: 513}), "513 slots"},
		{"a group as controller", func(*Config) {}, with(Stream{Universe: 1, Slots: 1, Unicast: netip.MustParseAddr("239.1.1.1")}), "not the address"},
		{"twice", func(*Config) {}, Scene{Streams: append(multicasts(2), multicasts(1)...), Render: count}, "listed twice"},
		{"nothing", func(*Config) {}, Scene{Render: count}, "no universe"},
		{"no renderer", func(*Config) {}, Scene{Streams: multicasts(1)}, "renderer"},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg := testConfig()
			c.change(&cfg)
			err := cfg.check()
			if err == nil {
				y := newYard(t)
				_, err = open(cfg, c.scene, y.link, y.environment())
			}
			var usage *UsageError
			switch {
			case c.want == "" && err != nil:
				t.Error(err)
			case c.want != "" && (!errors.As(err, &usage) || !strings.Contains(usage.Problem, c.want)):
				t.Errorf("got %v, want a UsageError with %q", err, c.want)
			}
		})
	}
}

func TestOpenNamesCandidates(t *testing.T) {
	cfg := testConfig()
	for name, want := range map[string]string{"": "no interface was named", "nosuch0": `there is no interface "nosuch0"`} {
		cfg.Interface = name
		_, err := Open(cfg, Scene{Streams: multicasts(1), Render: count})
		if usage, ok := errors.AsType[*UsageError](err); !ok || !strings.Contains(usage.Problem, want) || !strings.Contains(usage.Problem, loopback(t)+" (127.0.0.1)") {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// loopback returns the name of this host's loopback interface.
func loopback(t testing.TB) string {
	all, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, ifi := range all {
		if ifi.Flags&net.FlagLoopback != 0 {
			return ifi.Name
		}
	}
	t.Fatal("there is no loopback interface")
	return ""
}

func TestInterleave(t *testing.T) {
	a, b := netip.MustParseAddr("192.0.2.1"), netip.MustParseAddr("192.0.2.2")
	for _, c := range []struct {
		name    string
		streams []Stream
		want    []int
	}{
		{"one controller", []Stream{{}, {}, {}}, []int{0, 1, 2}},
		{"two", []Stream{{Unicast: a}, {Unicast: a}, {Unicast: b}, {Unicast: b}}, []int{0, 2, 1, 3}},
		{"by name", []Stream{{Controller: "x"}, {Controller: "x"}, {Controller: "y"}, {Controller: "y"}}, []int{0, 2, 1, 3}},
		{"a large and a small one", []Stream{{Unicast: a}, {Unicast: a}, {Unicast: a}, {Unicast: a}, {Unicast: b}}, []int{0, 1, 4, 2, 3}},
	} {
		if got := interleave(c.streams); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestHistogram(t *testing.T) {
	var h histogram
	for _, d := range []time.Duration{-time.Second, 0, time.Microsecond, 1001 * time.Nanosecond, time.Second, 2 * time.Second} {
		h.observe(d)
	}
	s := h.snapshot()
	if last := len(s.Counts) - 1; s.Count != 6 || s.Counts[0] != 3 || s.Counts[1] != 1 || s.Counts[last-1] != 1 || s.Counts[last] != 1 {
		t.Errorf("%+v", s)
	}
	if math.Abs(s.Sum-3.000002001) > 1e-9 {
		t.Errorf("sum %v", s.Sum)
	}
}
