package render

import (
	"math"
	"math/rand/v2"
	"time"
)

// branch is a bough that sways before the lights.
type branch struct{ x0, y0, x1, y1, width, sway, hertz, phase float64 }

func (y *Yard) grow() {
	w, h := float64(y.Width), float64(y.Height)
	for range 3 {
		x := w * (.1 + .8*y.rnd.Float64())
		b := branch{x, h * y.rnd.Float64() * .4, x + w*.12*(y.rnd.Float64()-.5), h * (.4 + .4*y.rnd.Float64()), max(3, y.Pitch*.35), 2 + 4*y.rnd.Float64(), .2 + .4*y.rnd.Float64(), 6 * y.rnd.Float64()}
		y.branches = append(y.branches, b)
	}
	for i := range y.Strings {
		for k := range y.Strings[i].Pixels {
			p := &y.Strings[i].Pixels[k]
			p.Visible = 0
			for t := 0.0; t < y.Seconds; t += .25 {
				p.Visible += y.clear(p.X, p.Y, t) * .25 / y.Seconds
			}
		}
	}
}

// clear is the share of a place that no branch hides.
func (y *Yard) clear(px, py, t float64) float64 {
	v := 1.0
	for _, b := range y.branches {
		off := b.sway * math.Sin(2*math.Pi*b.hertz*t+b.phase)
		dx, dy := b.x1-b.x0, b.y1-b.y0
		s := max(0, min(1, ((px-b.x0-off)*dx+(py-b.y0)*dy)/(dx*dx+dy*dy)))
		d := math.Hypot(b.x0+off+s*dx-px, b.y0+s*dy-py)
		v *= max(0, min(1, (d-b.width)/2+.5))
	}
	return v
}

// dies are what the camera sees of each colour: filters overlap.
var dies = map[byte][3]float64{'R': {.95, .10, .02}, 'G': {.12, .85, .12}, 'B': {.03, .14, .95}, 'W': {.8, .75, .6}}

// pose is where the hand is in one frame.
type pose struct{ dx, dy, turn float64 }

// take is what is the same for all frames of one film.
type take struct {
	*Yard
	times  []time.Duration
	poses  []pose
	begun  time.Duration // of the loop, when the film begins
	show   Capture
	street []float32 // with a margin, linear
	sw     int
	grain  []float32
	coded  []uint8
	white  [3]float64
}

const margin = 48

func (y *Yard) take(show Capture) *take {
	rnd := rand.New(rand.NewPCG(y.Seed, 5))
	t := &take{Yard: y, show: show, begun: time.Duration(rnd.Float64() * float64(show.Loop()))}
	p, v := pose{}, pose{}
	jitter := .2
	if y.Even {
		jitter = 0
	}
	for at := 0.0; at < y.Seconds; at += (1 + jitter*(rnd.Float64()-.5)) / y.Rate {
		v.dx, v.dy = .6*v.dx+rnd.NormFloat64(), .6*v.dy+rnd.NormFloat64()
		p.dx, p.dy = .8*p.dx+.35*y.Shake*v.dx, .8*p.dy+.35*y.Shake*v.dy
		p.turn = .9*p.turn + .0002*y.Shake*rnd.NormFloat64()
		if rnd.Float64() >= y.Lost {
			t.times, t.poses = append(t.times, time.Duration(at*1000)*time.Millisecond), append(t.poses, p)
		}
	}
	t.grain = make([]float32, 1<<17)
	for i := range t.grain {
		t.grain[i] = float32(rnd.NormFloat64() * y.Noise)
	}
	t.coded = make([]uint8, 1<<13)
	for i := range t.coded {
		t.coded[i] = uint8(math.Round(255 * math.Pow(float64(i)/float64(len(t.coded)-1), 1/2.2)))
	}
	t.white = [3]float64{1 + .15*(rnd.Float64()-.5), 1, 1 + .3*(rnd.Float64()-.5)}
	t.paint(rnd)
	return t
}

// paint draws the street: sky, houses, windows, and what the wet ground gives back.
//
//go:norace
func (t *take) paint(rnd *rand.Rand) {
	t.sw = t.Width + 2*margin
	h := t.Height + 2*margin
	t.street = make([]float32, t.sw*h*3)
	fill := func(x0, y0, x1, y1 int, c [3]float64) {
		for y := max(0, y0); y < min(h, y1); y++ {
			for x := max(0, x0); x < min(t.sw, x1); x++ {
				for k := range c {
					t.street[(y*t.sw+x)*3+k] = float32(c[k])
				}
			}
		}
	}
	a := t.Ambient
	fill(0, 0, t.sw, h, [3]float64{a * .5, a * .55, a * .8})
	for x := 0; x < t.sw; {
		wide, top := 60+rnd.IntN(120), rnd.IntN(h/3)
		g := a * (.6 + .8*rnd.Float64())
		fill(x, top, x+wide, h, [3]float64{g * 1.1, g, g * .8})
		for range 3 {
			wx, wy, l := x+rnd.IntN(wide), top+rnd.IntN(h/2), .03+.5*rnd.Float64()*rnd.Float64()
			if rnd.IntN(2) == 0 {
				fill(wx, wy, wx+5+rnd.IntN(8), wy+8+rnd.IntN(8), [3]float64{l, l * .75, l * .4})
			}
		}
		x += wide
	}
	ground := h * 85 / 100
	for y := ground; y < h; y++ {
		for x := range t.sw {
			for k := range 3 {
				v := float64(t.street[((2*ground-y)*t.sw+x)*3+k])
				t.street[(y*t.sw+x)*3+k] = float32(a*.4 + .2*v*float64(map[bool]int{true: 1}[t.Wet]))
			}
		}
	}
	for i := range t.street {
		t.street[i] *= float32(1 + .12*(rnd.Float64()-.5))
	}
}

// frame renders frame i as linear light, then as a camera codes it: RGB, 8 bit. Loops
// over what is their own alone are left out by the race detector, which makes them ten
// times as slow.
//
//go:norace
func (t *take) frame(i int) []uint8 {
	at, p := t.times[i].Seconds(), t.poses[i]
	rnd := rand.New(rand.NewPCG(t.Seed, uint64(i)+1000))
	exposure := 1.0
	if t.Drift {
		exposure = 1 + .15*math.Sin(at/3)
	}
	l := &canvas{w: t.Width, h: t.Height, v: make([]float32, t.Width*t.Height*3)}
	t.backdrop(l, p, rnd, at)
	t.lights(l, p, rnd, i)
	out := make([]uint8, len(l.v))
	scale, last := float32(len(t.coded)-1), int32(len(t.coded)-1)
	var gain [3]float32
	for k := range gain {
		gain[k] = float32(exposure * t.white[k])
	}
	from := rnd.IntN(len(t.grain))
	for k := 0; k < len(out); k += 3 {
		for c, g := range gain {
			v := l.v[k+c] * g
			shot := float32(3) // noise grows with light, up to white
			if v < 1 {
				shot = 1 + 2*v
			}
			v += t.grain[(from+k+c)&(len(t.grain)-1)] * shot
			out[k+c] = t.coded[max(0, min(last, int32(v*scale)))]
		}
	}
	return out
}

// stretch is how many pixels of a row are taken to be turned alike, columns.
const stretch = 16

// backdrop is the street as the hand has it, with a car and a lamp that flickers.
//
//go:norace
func (t *take) backdrop(l *canvas, p pose, rnd *rand.Rand, at float64) {
	for y := range l.h {
		sx := margin - p.dx + p.turn*float64(y) // where the row begins; all of it lies as far between two columns
		ix := max(0, min(2*margin-1, int(sx)))
		fx := float32(sx - float64(ix))
		for x := 0; x < l.w; x += stretch {
			n := 3 * min(stretch, l.w-x)
			sy := float64(y) - p.dy - p.turn*float64(x+stretch/2) + margin
			iy := max(0, min(t.Height+2*margin-2, int(sy)))
			fy := float32(sy - float64(iy))
			a, b := t.street[(iy*t.sw+ix+x)*3:][:n+3], t.street[((iy+1)*t.sw+ix+x)*3:][:n+3]
			v := l.v[(y*l.w+x)*3:][:n]
			for k := range v {
				top, low := a[k]+fx*(a[k+3]-a[k]), b[k]+fx*(b[k+3]-b[k])
				v[k] = top + fy*(low-top)
			}
		}
	}
	w, h := float64(l.w), float64(l.h)
	if t.Car && at > 5 && at < 9 {
		x := w * (at - 5) / 4
		for _, dx := range []float64{0, 22} {
			l.spot(x+dx+p.dx, h*.83+p.dy, 4, [3]float64{2, 2, 1.7})
			l.spot(x+dx+p.dx, h*.83+p.dy, 45, [3]float64{.06, .06, .05})
		}
	}
	if t.Lamp {
		v := .8
		if math.Mod(at, 1.7) < .5 && rnd.IntN(2) == 0 {
			v = .1
		}
		l.spot(w*.93+p.dx, h*.2+p.dy, 3, [3]float64{v, v * .8, v * .5})
		l.spot(w*.93+p.dx, h*.2+p.dy, 30, [3]float64{v * .06, v * .05, v * .03})
	}
}

// lights adds every pixel that is lit at the moment its row is read.
func (t *take) lights(l *canvas, p pose, rnd *rand.Rand, frame int) {
	at := t.times[frame].Seconds()
	ground := float64(l.h) * .85
	for i := range t.Strings {
		for k := range t.Strings[i].Pixels {
			px := &t.Strings[i].Pixels[k]
			moment := t.begun + t.times[frame] + time.Duration(px.Y/float64(l.h)*t.Rolling*float64(time.Second))
			c := [3]float64{}
			if t.rehearsed != nil {
				c = t.colourThere(i, k, moment)
			} else {
				c = t.colour(px, moment)
			}
			if c == [3]float64{} {
				continue
			}
			x, y := px.X-p.turn*px.Y+p.dx, px.Y+p.turn*px.X+p.dy
			v := t.clear(px.X, px.Y, at)
			for n := range c {
				c[n] *= v
			}
			l.spot(x, y, t.Blur, c)
			l.spot(x, y, 5*t.Blur, [3]float64{c[0] * .008, c[1] * .008, c[2] * .008})
			if down := 2*ground - y; t.Wet && down < float64(l.h) && down > ground {
				s := .1 + .05*rnd.Float64()
				l.spot(x+2*rnd.NormFloat64(), down, 1.5*t.Blur, [3]float64{c[0] * s, c[1] * s, c[2] * s})
			}
		}
	}
}

// colour is what a pixel gives off.
func (t *take) colour(p *Pixel, at time.Duration) (c [3]float64) {
	if p.Dead {
		return c
	}
	for d := range len(p.Dies) {
		letter := p.Dies[d]
		v := 0.0
		switch {
		case p.Hot:
			v = .9
		case len(p.Hears) == 0 || p.Missing == string(letter):
		default:
			v = t.show.Level(p.Hears[d], at)
		}
		for k, s := range dies[letter] {
			c[k] += t.Core * p.bright * p.each[d] * v * s
		}
	}
	return c
}
