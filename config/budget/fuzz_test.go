package budget

import (
	"encoding/json"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"yardproof/config"
)

// FuzzBudget budgets plans with any figures that the plan's own check lets
// through, absurd ones included: nothing panics, every figure is a number, levels
// are levels, and lighting less never lowers a cap.
func FuzzBudget(f *testing.F) {
	for seed := range uint64(8) {
		f.Add(seed, 0.05, 20.95, 100.0, uint16(50), uint8(2))
	}
	f.Add(uint64(1), 1000.0, 1e6, 1e6, uint16(1000), uint8(4))
	f.Add(uint64(2), 1e-9, 1e-9, 0.0, uint16(1), uint8(1))
	f.Add(uint64(3), 0.055, 40.0, 1000.0, uint16(999), uint8(200))
	f.Fuzz(func(t *testing.T, seed uint64, amps, milliohms, millimetres float64, pixels uint16, feeds uint8) {
		if !(amps >= 0 && amps <= 1000 && milliohms >= 0 && milliohms <= 1e6 && millimetres >= 0 && millimetres <= 1e6) {
			return // the plan's check refuses it
		}
		longest, most := 30, 8
		if seed%64 == 0 {
			longest, most = 300, 70 // which takes a hundred times as long
		}
		p := wildPlan(rand.New(rand.NewPCG(seed, 4)), amps, milliohms, millimetres, 1+int(pixels)%longest, 1+int(feeds)%most)
		b := New(p)
		if _, err := json.Marshal(b); err != nil { // refuses what is no number
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(seed, 5))
		duty := make([]float64, len(p.Strings))
		for i := range duty {
			duty[i] = r.Float64()
		}
		for _, limit := range []func([]float64) Cap{b.Cap, b.CapSpread} {
			c := limit(duty)
			if !(c.Level >= 0 && c.Level <= c.Bound && c.Bound <= 1) || c.Level < 1 && c.By == "" {
				t.Fatalf("%v: %+v", duty, c)
			}
			less := slices.Clone(duty)
			less[r.IntN(len(less))] = 0
			less[r.IntN(len(less))] *= r.Float64()
			if l := limit(less); l.Level < c.Level-1e-9 || l.Bound < c.Bound-1e-9 {
				t.Fatalf("%v is capped at %+v, the brighter %v at %+v", less, l, duty, c)
			}
		}
		for i, s := range p.Strings {
			if e, ok := b.Expect(i, make([]byte, 3*s.Pixels), 0); ok {
				if _, err := json.Marshal(e); err != nil {
					t.Fatal(err)
				}
			}
			b.Profile(i)
		}
	})
}

// FuzzText budgets whatever the plan's parser makes of a text: plans with errors
// are budgeted too, as far as they were understood.
func FuzzText(f *testing.F) {
	f.Add(config.DemoText())
	f.Add(meterPlan)
	f.Add(randomPlan(rand.New(rand.NewPCG(1, 1)), 4))
	f.Add("strings: [{name: a, universe: 1, pixels: 0, feeds: [{at: end}, {at: 7}]}, {name: b}]")
	f.Add("{\"strings\": [{\"name\": \"a\", \"pixels\": 3, \"cut_positive_after\": [1, 2, 3], \"jumpers\": [{\"after\": 9}]}]}")
	f.Fuzz(func(t *testing.T, text string) {
		p, _ := config.Load("fuzz.yaml", strings.NewReader(text))
		lit := 0
		if p != nil {
			for _, s := range p.Strings {
				lit += LinePixels(s)
			}
		}
		if p == nil || lit > 1000 && lit <= config.MaxPixels {
			return // nothing to budget, or slow for fuzzing
		}
		b := New(p)
		if _, err := json.Marshal(b); err != nil {
			t.Fatal(err)
		}
		duty := make([]float64, len(p.Strings))
		for i := range duty {
			duty[i] = 1
			b.Profile(i)
		}
		if c := b.Cap(duty); !(c.Level >= 0 && c.Level <= c.Bound && c.Bound <= 1) {
			t.Fatalf("%+v", c)
		}
	})
}

func wildPlan(r *rand.Rand, amps, milliohms, millimetres float64, pixels, feeds int) *config.Plan {
	p := &config.Plan{Temperature: r.Float64()*180 - 60, Network: config.Network{Rate: 40}}
	pick := func(of ...float64) float64 { return of[r.IntN(len(of))] }
	wire := func() config.Wire {
		switch r.IntN(4) {
		case 0:
			return config.Wire{}
		case 1:
			return config.Wire{AWG: r.IntN(40) - 3, HasAWG: true, Metres: pick(0, 1, 1000), Metal: config.CCA}
		case 2:
			return config.Wire{MM2: pick(0.001, 1, 1000), Metres: pick(0, 1, 1000)}
		}
		return config.Wire{Milliohms: pick(1e-6, 20, 1e6), Metres: pick(0, 1e-6, 1e4)}
	}
	for range 1 + r.IntN(2) {
		p.Supplies = append(p.Supplies, &config.Supply{Name: "p", Volts: pick(0, 5, 12, 24), Watts: pick(0, 1, 350, 1e6), ContinuousShare: pick(0.01, 0.8, 1)})
	}
	for range r.IntN(3) {
		f := &config.Feeder{Name: "f", Wire: wire(), FuseAmps: pick(0, 5, 1000), FuseContinuousShare: pick(0.01, 0.75, 1)}
		if r.IntN(8) > 0 {
			f.Supply = p.Supplies[0]
		}
		p.Feeders = append(p.Feeders, f)
	}
	c := &config.Controller{Name: "c", MaxAmps: pick(0, 4, 1e6)}
	p.Controllers = append(p.Controllers, c)
	for i := range 1 + r.IntN(4) {
		s := &config.String{
			Index: i, Name: "s" + strconv.Itoa(i), Controller: c, Port: strconv.Itoa(r.IntN(2)), Universe: uint16(1 + 10*i), Channel: 1,
			Pixels: pixels, NullPixels: r.IntN(3), Order: "RGB", Chip: config.Chip{Name: Chips()[r.IntN(len(Chips()))]},
			Volts: pick(0, 5, 12), AmpsPerPixel: amps, IdleAmpsPerPixel: pick(-1, 0, 0.001, 1),
			Load:  config.LoadKind([]string{"", "current", "resistor", "power"}[r.IntN(4)]),
			Pitch: config.Wire{Milliohms: milliohms, Metres: millimetres / 1000}, Brightness: r.Float64(), Gamma: 0.1 + 4*r.Float64(), Copies: 1 + r.IntN(2),
		}
		if r.IntN(3) == 0 {
			s.CutPositiveAfter = append(s.CutPositiveAfter, 1+r.IntN(pixels))
		}
		if r.IntN(3) == 0 {
			s.Jumpers = append(s.Jumpers, config.Jumper{After: 1 + r.IntN(pixels), Wire: wire()})
		}
		for range feeds {
			f := &config.Feed{At: "start", Address: 1, Wire: wire(), FuseAmps: pick(0, 5, 1000), FuseContinuousShare: pick(0.01, 0.75)}
			if r.IntN(3) > 0 {
				f.Address = 1 + s.NullPixels + r.IntN(pixels)
				f.At = strconv.Itoa(f.Address)
			}
			switch r.IntN(3) {
			case 0:
				f.Supply = p.Supplies[r.IntN(len(p.Supplies))]
			case 1:
				if len(p.Feeders) > 0 {
					f.Feeder = p.Feeders[r.IntN(len(p.Feeders))]
					f.Supply = f.Feeder.Supply
				}
			}
			s.Feeds = append(s.Feeds, f)
		}
		p.Strings = append(p.Strings, s)
	}
	return p
}
