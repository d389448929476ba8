package camera

import (
	"context"
	"errors"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"yardproof/patterns"
)

// scene is strings on curves, filmed by a hand: what the pattern itself sends, seen
// as round spots through a lens, with crosstalk of colours, noise, and a wrong gain.
type scene struct {
	strings, pixels int
	pitch           float64 // image pixels
	shake           float64 // rms, image pixels
	noise           float64 // rms of a coded value
	seed            uint64
}

func (s scene) size() (w, h int) {
	return int(float64(s.pixels)*s.pitch) + 120, s.strings*40 + 120
}

func (s scene) place(str, px int) (x, y float64) {
	x = 60 + float64(px)*s.pitch
	return x, 70 + float64(str)*40 + 9*math.Sin(x/37+float64(str))
}

func (s scene) addresses() (all []int) {
	for a := range s.strings * 512 {
		all = append(all, a)
	}
	return all
}

func (s scene) sent() Sent {
	all := s.addresses()
	return Sent{all, slices.Repeat([]int{3}, len(all))}
}

func (s scene) film(length time.Duration) Film {
	rnd := rand.New(rand.NewPCG(s.seed, 1))
	var f Film
	var motions []motion
	m := motion{}
	for t := time.Duration(0); t < length; t += time.Duration(80+rnd.IntN(30)) * time.Millisecond {
		f.Times = append(f.Times, t)
		m.dx += (rnd.NormFloat64() - m.dx/2) * s.shake
		m.dy += (rnd.NormFloat64() - m.dy/2) * s.shake
		m.turn = .8*m.turn + rnd.NormFloat64()*.0005
		motions = append(motions, m)
	}
	p, _ := patterns.Lookup(patterns.Code)
	begun := time.Duration(s.seed%13800) * time.Millisecond // the loop is anywhere when the film begins
	var grain [1 << 14]float64                              // noise, begun elsewhere in each frame
	for k := range grain {
		grain[k] = rnd.NormFloat64() * s.noise
	}
	var coded [1 << 12]float64 // of linear light up to 2
	for k := range coded {
		coded[k] = 255 * math.Pow(.004+float64(k)/(1<<11), 1/2.2)
	}
	frames := make([]func() *image.YCbCr, len(f.Times)) // each is asked for twice
	for i := range frames {
		frames[i] = sync.OnceValue(func() *image.YCbCr { return s.frame(i, begun+f.Times[i], motions[i], p, &coded, &grain) })
	}
	f.Frame = func(i int) (*image.YCbCr, error) { return frames[i](), nil }
	return f
}

// frame renders one frame. The race detector leaves it out: it works on what is its own
// alone, and would take ten times as long.
//
//go:norace
func (s scene) frame(i int, at time.Duration, m motion, p patterns.Pattern, coded *[1 << 12]float64, grain *[1 << 14]float64) *image.YCbCr {
	w, h := s.size()
	light := make([][3]float64, w*h)
	rnd := rand.New(rand.NewPCG(s.seed, uint64(i)+100))
	for str := range s.strings {
		l := patterns.Layout{Pixels: s.pixels, Order: "RGB", Runs: []patterns.Run{{Length: s.pixels * 3, Address: str * patterns.CodeUniverse}}}
		slots := make([]byte, s.pixels*3)
		p.Frame(slots, l, patterns.Options{}, at)
		for px := range s.pixels {
			x, y := m.apply(s.place(str, px))
			r, g, b := float64(slots[px*3])/255, float64(slots[px*3+1])/255, float64(slots[px*3+2])/255
			seen := [3]float64{.6*r + .1*g, .08*r + .5*g + .08*b, .12*g + .7*b}
			for dy := -4; dy <= 4; dy++ {
				for dx := -4; dx <= 4; dx++ {
					cx, cy := int(x)+dx, int(y)+dy
					if cx < 0 || cy < 0 || cx >= w || cy >= h {
						continue
					}
					d := (float64(cx)-x)*(float64(cx)-x) + (float64(cy)-y)*(float64(cy)-y)
					for c := range seen {
						light[cy*w+cx][c] += seen[c] * math.Exp(-d/(2*1.1*1.1))
					}
				}
			}
		}
	}
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio444)
	from := rnd.IntN(len(grain))
	for k, c := range light {
		var v [3]uint8
		for j := range v {
			v[j] = uint8(max(0, min(255, coded[min(len(coded)-1, int(c[j]*(1<<11)))]+grain[(from+3*k+j)%len(grain)])))
		}
		img.Y[k], img.Cb[k], img.Cr[k] = color.RGBToYCbCr(v[0], v[1], v[2])
	}
	return img
}

func TestRead(t *testing.T) {
	s := scene{strings: 3, pixels: 30, pitch: 12, shake: 1, noise: 3, seed: 20261126}
	r, err := Read(context.Background(), s.film(17*time.Second), s.sent())
	if err != nil {
		t.Fatal(err)
	}
	right, wrong := 0, 0
	var off [2][]float64 // the map is the first frame's: it is off by that frame's shake
	for _, a := range r.Lights {
		str, slot := a.First/512, a.First%512
		if slot%3 != 0 || slot/3 >= s.pixels {
			t.Errorf("address %d at %.1f, %.1f is no pixel's (fit %.2f, margin %.0f)", a.First, a.X, a.Y, a.Fit, a.Margin)
			wrong++
			continue
		}
		x, y := s.place(str, slot/3)
		d := math.Hypot(a.X-x, a.Y-y)
		if d > 6 {
			t.Errorf("address %d is read at %.1f, %.1f, and is at %.1f, %.1f", a.First, a.X, a.Y, x, y)
			wrong++
			continue
		}
		right++
		off[0], off[1] = append(off[0], a.X-x), append(off[1], a.Y-y)
	}
	for _, o := range off {
		slices.Sort(o)
		if n := len(o); n > 0 && o[n*9/10]-o[n/10] > 1 {
			t.Errorf("eight places in ten lie within %.2f px, want 1", o[n*9/10]-o[n/10])
		}
	}
	if all := s.strings * s.pixels; right < all*99/100 || wrong > 0 {
		t.Errorf("%d of %d pixels are read right, %d wrong", right, all, wrong)
	}
}

// What cannot be read says what to do.
func TestRefused(t *testing.T) {
	s := scene{strings: 1, pixels: 20, pitch: 12, seed: 3}
	blank := Film{Frame: func(int) (*image.YCbCr, error) {
		return image.NewYCbCr(image.Rect(0, 0, 64, 48), image.YCbCrSubsampleRatio420), nil
	}}
	for i := range 220 {
		blank.Times = append(blank.Times, time.Duration(i)*80*time.Millisecond)
	}
	back, slow, long, mixed := blank, blank, blank, blank
	back.Times = []time.Duration{0, 20 * time.Second, 19 * time.Second}
	slow.Times = []time.Duration{0, 10 * time.Second, 20 * time.Second}
	long.Times = []time.Duration{0, 10 * time.Minute}
	mixed.Frame = func(i int) (*image.YCbCr, error) {
		return image.NewYCbCr(image.Rect(0, 0, 64+i/100, 48), image.YCbCrSubsampleRatio420), nil
	}
	torn := errors.New("torn")
	broken := blank
	broken.Frame = func(int) (*image.YCbCr, error) { return nil, torn }
	for want, f := range map[error]Film{ErrShort: s.film(9 * time.Second), ErrTimes: back, ErrRate: slow, ErrLong: long,
		ErrEmpty: blank, ErrSizes: mixed, torn: broken} {
		if _, err := Read(context.Background(), f, s.sent()); !errors.Is(err, want) {
			t.Errorf("%v, want %v", err, want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, blank, s.sent()); !errors.Is(err, context.Canceled) {
		t.Errorf("%v after it was cancelled", err)
	}
}
