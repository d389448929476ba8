package judge

import (
	"slices"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
)

// A State is how a pixel looks beside how it should.
type State byte

// The states.
const (
	Right   State = 'r'
	Dark    State = '.' // it should be lit
	Extra   State = '+' // lit, and should not be
	Dim     State = 'd' // fainter, or redder, as where volts are low
	Colours State = 'c' // lit in other colours
	Flicker State = '*' // not steady
	Missing State = 'm' // one of its colours is missing
)

// A Sight is what an eye says of one string.
type Sight struct {
	Where    Where
	State    State   // of what is not right
	Good     int     // the last good pixel, or the number of wrong ones ahead
	Frame    bool    // Flicker: whole pictures come in turn
	Backward bool    // it is as it should be, from the far end
	Mixed    bool    // Colours: neighbours differ that should not
	Shown    string  // the colour letter that most of the lit pixels show; "": none; "?": several
	Often    float64 // Flicker: the share of looks that differ
}

// Where is which part of a string is not right.
type Where string

// The parts.
const (
	Fine   Where = "fine"
	All    Where = "all"
	Tail   Where = "tail"   // from the pixel after Good on
	Head   Where = "head"   // the first ones, up to Good
	One    Where = "one"    // the pixel after Good alone
	Spread Where = "spread" // here and there, first after Good
)

// Thresholds of an eye in the dark (common practice, no source).
const (
	noLight     = 5    // of 255
	fainter     = 0.7  // of what it should be: less is seen
	otherHue    = 0.35 // between shares of a colour
	unsteady    = 40   // between two looks
	eyeFrames   = 16
	noiseFrames = 300 // some seconds
)

// judgePixel compares a pixel with how it should look.
func judgePixel(got, want yard.Colour) State {
	g, w := [4]float64{float64(got.R), float64(got.G), float64(got.B), float64(got.W)}, [4]float64{float64(want.R), float64(want.G), float64(want.B), float64(want.W)}
	brightG, brightW := max(g[0], g[1], g[2], g[3]), max(w[0], w[1], w[2], w[3])
	switch {
	case brightW < noLight && brightG < noLight:
		return Right
	case brightW < noLight:
		return Extra
	case brightG < noLight || brightG < 0.06*brightW:
		return Dark
	}
	missing, other, fading := 0, false, true
	for i := range g {
		a, b := g[i]/brightG, w[i]/brightW
		other = other || a-b > otherHue || b-a > otherHue
		if b > 0.3 && a < 0.1*b {
			missing++
		}
		fading = fading && g[i] <= w[i]+noLight
	}
	green, blue := ratio(g[1], w[1]), ratio(g[2], w[2])
	red := ratio(g[0], w[0])
	if w[0] < noLight {
		red = 1
	}
	evenly := w[1] < noLight || w[2] < noLight || green-blue < 0.15 && blue-green < 0.15
	switch {
	case fading && evenly && red >= max(green, blue)-0.1 && min(green, blue) < fainter:
		return Dim
	case other && fading && missing == 1:
		return Missing
	case other:
		return Colours
	case brightG < fainter*brightW:
		return Dim
	}
	return Right
}

func ratio(a, b float64) float64 {
	if b < noLight {
		return 1
	}
	return a / b
}

// sight puts together what was seen of a string over several looks.
func sight(frames [][]yard.Colour, want []yard.Colour) Sight {
	n := len(want)
	state := make([]State, n)
	counts := map[State]int{}
	for i := range state {
		state[i] = judgePixel(frames[0][i], want[i])
		for _, f := range frames[1:] {
			if far(f[i], frames[0][i]) {
				state[i] = Flicker
			}
		}
		counts[state[i]]++
	}
	s := Sight{Where: Fine, State: Right, Shown: shown(frames[0])}
	if counts[Right] == n {
		return s
	}
	s.Backward = backward(frames[0], want)
	for s.Good < n && state[s.Good] == Right {
		s.Good++
	}
	tail := n
	for tail > 0 && state[tail-1] == Right {
		tail--
	}
	wrong := state[s.Good:tail]
	s.State = most(wrong)
	s.Mixed = s.State == Colours && mixed(frames[0][s.Good:tail], want[s.Good:tail])
	if s.State == Flicker {
		s.Frame = pictures(frames, s.Good)
	}
	same := 0
	for _, w := range wrong {
		if w != Right {
			same++
		}
	}
	solid := same*10 >= len(wrong)*7
	switch {
	case len(wrong) == 1 && n > 2:
		s.Where = One
	case s.Good == 0 && tail == n && solid:
		s.Where = All
	case tail == n && solid:
		s.Where = Tail
	case s.Good == 0 && solid:
		s.Where, s.Good = Head, tail
	default:
		s.Where = Spread
	}
	if s.State == Flicker && s.Good <= n/6 { // nobody sees where noise begins to a pixel
		s.Where, s.Good = All, 0
	}
	return s
}

// often is the share of looks that are not as most are.
func often(frames [][]yard.Colour) float64 {
	same := 0
	for _, usual := range frames[:min(4, len(frames))] {
		n := 0
		for _, f := range frames {
			n += count(slices.Equal(f, usual))
		}
		same = max(same, n)
	}
	return 1 - float64(same)/float64(len(frames))
}

// backward reports whether it is as it should be, from the far end.
func backward(got, want []yard.Colour) bool {
	for i, g := range got {
		if judgePixel(g, want[len(want)-1-i]) != Right {
			return false
		}
	}
	return true
}

func far(a, b yard.Colour) bool {
	d := func(x, y uint8) bool { return int(x)-int(y) > unsteady || int(y)-int(x) > unsteady }
	return d(a.R, b.R) || d(a.G, b.G) || d(a.B, b.B) || d(a.W, b.W)
}

func most(states []State) State {
	counts := map[State]int{}
	best := Right
	for _, s := range states {
		if s == Right {
			continue
		}
		counts[s]++
		if best == Right || counts[s] > counts[best] {
			best = s
		}
	}
	return best
}

// mixed reports whether neighbours that should look alike do not.
func mixed(got, want []yard.Colour) bool {
	differ, pairs := 0, 0
	for i := 1; i < len(got); i++ {
		if want[i] == want[i-1] {
			pairs++
			if far(got[i], got[i-1]) {
				differ++
			}
		}
	}
	return pairs > 2 && differ*2 > pairs
}

// pictures reports whether what is unsteady shows one colour throughout whenever it
// is not as before: another picture, no noise.
func pictures(frames [][]yard.Colour, from int) bool {
	for _, f := range frames {
		for i := from + 1; i < len(f); i++ {
			if far(f[i], f[i-1]) {
				return false
			}
		}
	}
	return true
}

// shown names the colour of the lit pixels.
func shown(f []yard.Colour) string {
	counts := map[string]int{}
	lit := 0
	for _, c := range f {
		all := [4]uint8{c.R, c.G, c.B, c.W}
		bright := max(c.R, c.G, c.B, c.W)
		if bright < noLight {
			continue
		}
		name := ""
		for i, v := range all {
			if int(v)*3 > int(bright) {
				name += "RGBW"[i : i+1]
			}
		}
		lit++
		counts[name]++
	}
	for name, n := range counts {
		if n*10 >= lit*8 {
			if len(name) > 1 {
				return "?"
			}
			return name
		}
	}
	if lit == 0 {
		return ""
	}
	return "?"
}
