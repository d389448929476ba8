// Package render films yards that nobody filmed, for the rehearsal and for
// tests: strings on curves before an evening street, planted faults, a hand that shakes, a
// camera that drifts, and the truth. What the strings show comes from packets of the engine
// ([Capture]), and what their pixels make of it from a model of ports of its own, or from a
// rehearsed yard. It refuses to know how films are read.
package render

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
)

// Scene says what is filmed and how. The zero value of a nuisance leaves it out.
type Scene struct {
	Name            string
	Width, Height   int
	Strings, Pixels int     // of each string
	RGBW            int     // the first so many strings have white
	Pitch           float64 // image pixels
	Seed            uint64

	Core    float64 // light of a die's middle, of full scale; above 1 it is clipped
	Blur    float64 // sigma of a spot, image pixels
	Ambient float64 // light of the street
	Noise   float64 // rms, of full scale, linear
	Shake   float64 // rms, image pixels

	Seconds float64
	Rate    float64 // frames a second that reach the reader
	Even    bool    // they are evenly apart
	Lost    float64 // share of frames
	Rolling float64 // seconds from the first row to the last
	Kilobit int     // of H.264 a second; 0: JPEG alone

	Branches, Car, Lamp, Wet, Drift bool

	StringFaults       bool
	Dead, Dieless, Hot float64 // shares of pixels: dark, without one die, stuck on
}

// Fault is what is planted on a string.
type Fault struct {
	Kind  string // start, count, nulls, reversed, copies, packing, swapped, order; "": none
	Count int
	Other int
}

// Pixel is the truth of one pixel as it hangs.
type Pixel struct {
	X, Y    float64
	Hears   []int // addresses of its dies' slots; none: it gets no data
	Dies    string
	Missing string // letters of dies that do not light
	Dead    bool
	Hot     bool
	Visible float64 // share of the film in which nothing hides it

	bright float64
	each   []float64
}

// String is the truth of one string.
type String struct {
	Name   string
	Fault  Fault
	Pixels []Pixel
	Drawn  [][2]float64 // where a drawing has its pixels, in metres of the drawing
}

// Yard is a scene made up.
type Yard struct {
	Scene
	Plan    string // its file
	Strings []String

	branches  []branch
	rehearsed [][][]yard.Colour // by frame of the loop, string and pixel; nil: the ports below
	rnd       *rand.Rand
}

// port is how a string is set up: what the plan says, or what somebody did.
type port struct {
	start, count, nulls, copies int
	whole, reversed             bool
	order                       string
}

// hears is the addresses of the slots that line pixel q, nulls included, is sent, in
// the order of the wire.
func (p port) hears(q int) []int {
	if q < p.nulls {
		return nil
	}
	i := (q - p.nulls) / max(1, p.copies)
	if i >= p.count {
		return nil
	}
	if p.reversed {
		i = p.count - 1 - i
	}
	n := len(p.order)
	at := p.start
	for ; i >= 0; i-- {
		if p.whole && at%512+n > 512 {
			at += 512 - at%512
		}
		if i > 0 {
			at += n
		}
	}
	var all []int
	for k := range n {
		all = append(all, at+k)
	}
	return all
}

// New makes a scene up.
func New(s Scene) *Yard {
	y := &Yard{Scene: s, rnd: rand.New(rand.NewPCG(s.Seed, 77))}
	ports := y.plan()
	y.fault(ports)
	if s.Branches {
		y.grow()
	}
	return y
}

// plan writes the plan's file, and returns the ports as it has them.
func (y *Yard) plan() []port {
	var b strings.Builder
	b.WriteString("name: Harbour Street, filmed\ncontrollers:\n  - {name: bandstand}\n  - {name: lighthouse, pack: continuous}\nstrings:\n")
	var ports []port
	universe, channel := 1, 1
	for i := range y.Scene.Strings {
		p := port{count: y.Scene.Pixels, copies: 1, whole: i%2 == 0, order: "RGB"}
		if i < y.RGBW {
			p.order = "GRBW"
		} else if i%3 == 1 {
			p.order = "GRB"
		}
		if i%4 == 2 {
			p.nulls = 1
		}
		n := p.count * len(p.order)
		if channel > 1 && (channel-1+n > 510 || i%2 == 0) {
			universe, channel = universe+1, 1
		}
		p.start = (universe-1)*512 + channel - 1
		name := map[bool]string{true: "bandstand", false: "lighthouse"}[p.whole]
		fmt.Fprintf(&b, "  - {name: s%d, controller: %s, universe: %d, channel: %d, pixels: %d, order: %s, null_pixels: %d}\n",
			i+1, name, universe, channel, p.count, p.order, p.nulls)
		ports = append(ports, p)
		if n > 510-channel {
			universe, channel = universe+(channel-1+n+509)/510, 1
		} else {
			channel += n
		}
	}
	y.Plan = b.String()
	return ports
}

// fault plants faults, and works out what every pixel hears.
func (y *Yard) fault(planned []port) {
	set := make([]port, len(planned))
	copy(set, planned)
	y.Strings = make([]String, len(planned))
	kinds := []string{"start", "count", "nulls", "reversed", "copies", "packing", "swapped", "order"}
	y.rnd.Shuffle(len(kinds), func(i, j int) { kinds[i], kinds[j] = kinds[j], kinds[i] })
	for i := range y.Strings {
		s := &y.Strings[i]
		s.Name = fmt.Sprintf("s%d", i+1)
		if !y.StringFaults || i%2 == 1 || s.Fault.Kind != "" {
			continue
		}
		kind := kinds[i/2%len(kinds)]
		p, n := &set[i], planned[i].count
		if kind == "packing" && n*len(p.order) < 540 {
			kind = "start"
		}
		s.Fault.Kind = kind
		switch kind {
		case "start":
			s.Fault.Count = (1 + y.rnd.IntN(8)) * len(p.order)
			if y.rnd.IntN(3) == 0 {
				s.Fault.Count = 1 + y.rnd.IntN(2)
			}
			p.start += s.Fault.Count
		case "count":
			s.Fault.Count = 2 + y.rnd.IntN(n/6)
			p.count -= s.Fault.Count
		case "nulls":
			s.Fault.Count = 1 + y.rnd.IntN(3)
			if p.nulls > 0 && y.rnd.IntN(2) == 0 {
				s.Fault.Count = -p.nulls
			}
			p.nulls += s.Fault.Count
		case "reversed":
			p.reversed = true
		case "copies":
			p.copies, s.Fault.Count = 2, 2
		case "packing":
			p.whole = !p.whole
		case "order":
			letters := []byte(p.order)
			letters[0], letters[1] = letters[1], letters[0]
			p.order = string(letters)
		case "swapped":
			o := i + 1
			if o >= len(set) || len(set[o].order) != len(p.order) {
				s.Fault = Fault{}
				continue
			}
			own, other := *p, set[o]
			p.start, p.whole = other.start, other.whole
			set[o].start, set[o].whole = own.start, own.whole
			p.order, set[o].order = other.order, own.order
			s.Fault.Other, y.Strings[o].Fault = o, Fault{Kind: "swapped", Other: i}
		}
	}
	for i := range y.Strings {
		y.hang(&y.Strings[i], i, planned[i], set[i])
	}
}

// hang puts a string's pixels up.
func (y *Yard) hang(s *String, i int, planned, set port) {
	xs, ys := y.curve(i)
	dies := planned.order // what hangs is what was bought for the plan
	for k := range planned.count {
		p := Pixel{X: xs[k], Y: ys[k], Dies: dies, Visible: 1, bright: math.Exp(.15 * y.rnd.NormFloat64())}
		p.Hears = set.hears(k + planned.nulls)
		if set.order != dies && len(set.order) == len(dies) && len(p.Hears) > 0 { // a slot goes to another die
			var moved []int
			for d := range len(dies) {
				moved = append(moved, p.Hears[strings.IndexByte(set.order, dies[d])])
			}
			p.Hears = moved
		}
		for range dies {
			p.each = append(p.each, math.Exp(.1*y.rnd.NormFloat64()))
		}
		switch r := y.rnd.Float64(); {
		case r < y.Scene.Dead:
			p.Dead = true
		case r < y.Scene.Dead+y.Dieless:
			p.Missing = string(dies[y.rnd.IntN(3)])
		case r < y.Scene.Dead+y.Dieless+y.Hot:
			p.Hot = true
		}
		s.Pixels = append(s.Pixels, p)
		// The drawing is another view, and no exact one.
		u, v := xs[k]/float64(y.Width), ys[k]/float64(y.Height)
		w := 1 + .12*u - .08*v
		jitter := .12 * y.Pitch / float64(y.Width)
		s.Drawn = append(s.Drawn, [2]float64{40 * ((u+.05*v)/w + jitter*y.rnd.NormFloat64()), 25 * ((v+.03*u)/w + jitter*y.rnd.NormFloat64())})
	}
}

// curve is where a string's pixels are: rows that sag, arches, and a spiral, with
// pixels closer where they are farther away.
func (y *Yard) curve(i int) (xs, ys []float64) {
	n := y.Scene.Pixels
	w, h := float64(y.Width), float64(y.Height)
	row := h * .72 / float64(y.Scene.Strings)
	length := y.Pitch * float64(n-1)
	folds := max(1, math.Ceil(length/(w*.88))) // a long string turns back
	x0, y0 := w*.05+y.rnd.Float64()*max(0, w*.9-length/folds), h*.08+(float64(i)+.5)*row
	per := math.Ceil(float64(n) / folds)
	phase, sag := y.rnd.Float64()*6, min(row*.22, 14)/folds
	for k := range n {
		fold, at := math.Floor(float64(k)/per), math.Mod(float64(k), per)
		if math.Mod(fold, 2) == 1 {
			at = per - 1 - at
		}
		x := at * y.Pitch
		x += .06 * x * (x/(w*.9) - 1) * 2 // perspective: closer at one side
		dy := sag * math.Sin(x/90+phase)
		if i%3 == 2 {
			dy = -2 * sag * math.Sin(math.Pi*at/per)
		}
		xs, ys = append(xs, x0+x), append(ys, y0+dy+fold*row/folds*.8)
	}
	return xs, ys
}
