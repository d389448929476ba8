package yard

import (
	"math"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
)

func demo(t testing.TB) (*config.Plan, *budget.Budget) {
	t.Helper()
	p := configtest.Load(t, config.DemoText())
	return p, budget.New(p)
}

func parse(t testing.TB, text string) (*config.Plan, *budget.Budget) {
	t.Helper()
	p := configtest.Load(t, text)
	return p, budget.New(p)
}

func lay(t testing.TB, p *config.Plan, b *budget.Budget, faults ...Fault) *Yard {
	t.Helper()
	y, err := New(p, b, Options{Seed: 1, Faults: faults})
	if err != nil {
		t.Fatal(err)
	}
	return y
}

// frameOf is a frame of every slot of the plan's strings, by string and place.
func frameOf(p *config.Plan, value func(n, i int) byte) [][]byte {
	frame := dark(p)
	for n := range p.Strings {
		light(p, frame, n, func(b []byte) {
			for i := range b {
				b[i] = value(n, i)
			}
		})
	}
	return frame
}

// slotsOf is a frame in which a string alone is lit.
func slotsOf(p *config.Plan, n int, fill func(slots []byte)) [][]byte {
	frame := dark(p)
	light(p, frame, n, fill)
	return frame
}

func dark(p *config.Plan) [][]byte {
	var frame [][]byte
	for _, u := range p.Map().Universes {
		frame = append(frame, make([]byte, u.Channels))
	}
	return frame
}

func light(p *config.Plan, frame [][]byte, n int, fill func(slots []byte)) {
	s := p.Strings[n]
	own := make([]byte, s.Pixels*s.ChannelsPerPixel())
	fill(own)
	for _, c := range p.Map().Strings[n].Copies {
		copy(frame[c.Universe][c.At:], own[c.From:c.From+c.Length])
	}
}

func level(v byte) func([]byte) {
	return func(b []byte) {
		for i := range b {
			b[i] = v
		}
	}
}

// A yard without faults agrees with the budget, which was written apart from it and
// is itself held against ngspice, wherever no pixel lacks volts.
func TestHealthyAgreesWithBudget(t *testing.T) {
	for _, load := range []func(testing.TB) (*config.Plan, *budget.Budget){demo, func(t testing.TB) (*config.Plan, *budget.Budget) {
		return parse(t, oddPlan)
	}} {
		p, b := load(t)
		compared := 0
		for n, s := range p.Strings {
			for _, v := range []byte{0, 60, 130, 200} {
				y := lay(t, p, b)
				slots := make([]byte, s.Pixels*s.ChannelsPerPixel())
				level(v)(slots)
				want, ok := b.Expect(n, slots, 0)
				if !ok {
					t.Fatalf("%s: nothing is expected", s.Name)
				}
				y.Frame(0, slotsOf(p, n, level(v)))
				low := math.Inf(1)
				for _, volts := range want.Volts {
					low = min(low, volts)
				}
				if low < y.circuit(n).law.lowest {
					continue
				}
				for pixel, volts := range want.Volts {
					if got := y.Volts(n, pixel+1); math.Abs(got-volts) > 0.001 && s.Copies <= 1 {
						t.Errorf("%s at %d, pixel %d: %.4f V, the budget has %.4f V", s.Name, v, pixel+1, got, volts)
						break
					}
					compared++
				}
				for f, amps := range want.Feeds {
					if got := y.FeedAmps(n, f); math.Abs(got-amps) > 0.001+0.003*amps {
						t.Errorf("%s at %d, feed %d: %.4f A, the budget has %.4f A", s.Name, v, f, got, amps)
					}
				}
			}
		}
		t.Logf("%d pixels compared", compared)
	}
}

// What the patterns of wire can be: feeders, a cut, jumpers, nulls, copies, a
// regulator, a resistor, a port that dims.
const oddPlan = `
temperature: 35
supplies: [{name: a, volts: 12, watts: 600}, {name: b, volts: 12, watts: 350}, {name: c, volts: 5, watts: 200}]
feeders: [{name: quay, supply: a, mm2: 6, metres: 6, fuse_amps: 25}]
controllers: [{name: box}]
strings:
  - {name: cut, controller: box, port: 1, universe: 1, pixels: 60, null_pixels: 2, chip: ws2811, supply: a, pitch: {mm2: 0.75, millimetres: 80}, jumpers: [{after: 20, metres: 2}],
     cut_positive_after: [30], feeds: [{at: start, from: quay, awg: 14, metres: 2}, {at: end, supply: b, awg: 14, metres: 4}]}
  - {name: shared, controller: box, port: 2, universe: 2, pixels: 80, chip: ws2811, pitch: {awg: 18, millimetres: 100, metal: cca}, feeds: [{at: start, from: quay, awg: 16, metres: 1}, {at: 40, from: quay, awg: 16, metres: 5}]}
  - {name: power, controller: box, port: 3, universe: 3, pixels: 40, chip: ws2811, load: power, supply: b, brightness: 70%, gamma: 1, pitch: {milliohms: 22, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 1}]}
  - {name: resistor, controller: box, port: 4, universe: 4, pixels: 40, chip: ws2811, load: resistor, supply: b, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 1}]}
  - {name: twice, controller: box, port: 5, universe: 5, pixels: 20, copies: 2, chip: ws2812b, supply: c, pitch: {awg: 18, millimetres: 30}, feeds: [{at: start, awg: 16, metres: 1}, {at: 10, awg: 16, metres: 2}]}
`

func BenchmarkSolveHundredPixels(b *testing.B) {
	p, bud := demo(b)
	y := lay(b, p, bud)
	frame := slotsOf(p, 0, level(255))
	for i := range b.N {
		y.Frame(time.Duration(i)*25*time.Millisecond, frame)
		y.Volts(0, 100)
	}
}

func BenchmarkLayDemo(b *testing.B) {
	p, bud := demo(b)
	for range b.N {
		lay(b, p, bud)
	}
}
