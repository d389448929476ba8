package camera

import (
	"context"
	"image"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"yardproof/patterns"
)

// Address is a light that answers an address.
type Address struct {
	X, Y   float64 // in the picture of the first frame, in pixels of it
	First  int     // address of the first slot of its pixel
	Fit    float64 // share of its blinking that its slots explain, 0 to 1
	Margin float64 // log likelihood ratio to the next address that is not beside it

	// Response is what each slot of the pixel gives in red, green and blue of the
	// camera, in its linear units.
	Response [][3]float64
}

// Sure is the margin from which an address counts: by simulation, right ones lie far
// above it and wrong ones, but for those of the slot beside, below.
const Sure = 40

const chips = patterns.CodeLength

// Read lays the frames on each other, finds what blinks and decodes it. Addresses are
// those of the slots that were sent, ascending; slots is how many a pixel has.
func Read(ctx context.Context, f Film, addresses []int, slots int) ([]Address, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	peaks := make([][]peak, len(f.Times))
	sizes := make([]image.Point, len(f.Times))
	if err := f.each(ctx, func(i int, m *image.YCbCr) error {
		peaks[i], sizes[i] = peaksOf(m), m.Rect.Size()
		return nil
	}); err != nil {
		return nil, err
	}
	if len(slices.Compact(sizes)) > 1 {
		return nil, ErrSizes
	}
	a, motions := newAtlas(), make([]motion, len(peaks))
	for i, p := range peaks {
		motions[i], _ = a.lay(p)
	}
	lights := a.candidates(len(peaks))
	if len(lights) == 0 {
		return nil, ErrEmpty
	}
	values := make([][][3]float32, len(peaks)) // frame, light
	if err := f.each(ctx, func(i int, m *image.YCbCr) error {
		values[i] = sample(m, lights, motions[i])
		return nil
	}); err != nil {
		return nil, err
	}
	c, ok := findClock(f.Times, values)
	if !ok {
		return nil, ErrClock
	}
	return decode(lights, c.words(f.Times, values), addresses, slots), nil
}

var linear = func() (t [256]float32) {
	for v := range t {
		t[v] = float32(math.Pow(float64(v)/255, 2.2))
	}
	return t
}()

// sample is the mean of 3 by 3 pixels about each light.
func sample(m *image.YCbCr, lights []light, at motion) [][3]float32 {
	out := make([][3]float32, len(lights))
	for i, l := range lights {
		x, y := at.apply(l.x, l.y)
		cx, cy := int(math.Round(x)), int(math.Round(y))
		for dx := -1; dx <= 1; dx++ {
			for dy := -1; dy <= 1; dy++ {
				p := image.Pt(max(0, min(m.Rect.Dx()-1, cx+dx)), max(0, min(m.Rect.Dy()-1, cy+dy))).Add(m.Rect.Min)
				r, g, b, _ := m.YCbCrAt(p.X, p.Y).RGBA()
				out[i][0] += linear[r>>8] / 9
				out[i][1] += linear[g>>8] / 9
				out[i][2] += linear[b>>8] / 9
			}
		}
	}
	return out
}

// clock says when chips begin: at start, and every period.
type clock struct{ start, period float64 } // seconds

const loopChips = patterns.CodePreamble + patterns.CodeLength

// findClock looks for the loop's phase: the preamble is six dark chips that all
// lights share, after and before chips of which half are lit.
func findClock(times []time.Duration, values [][][3]float32) (clock, bool) {
	sums := make([]float64, len(values))
	for i, v := range values {
		for _, c := range v {
			sums[i] += math.Sqrt(float64(c[0] + c[1] + c[2]))
		}
	}
	chip := patterns.CodeChip.Seconds()
	best, contrast := clock{}, 0.0
	for stretch := -2; stretch <= 2; stretch++ {
		period := chip * (1 + float64(stretch)*.0005)
		for phase := 0.0; phase < period*loopChips; phase += .01 {
			dark, lit, nd, nl := 0.0, 0.0, 0.0, 0.0
			for i, t := range times {
				at := math.Mod(t.Seconds()-phase+4*period*loopChips, period*loopChips) / period
				switch {
				case at > .15 && at < patterns.CodePreamble-.15:
					dark, nd = dark+sums[i], nd+1
				case at > patterns.CodePreamble+.15 && at < loopChips-.15:
					lit, nl = lit+sums[i], nl+1
				}
			}
			if nd < 3 || nl < chips {
				continue
			}
			if c := lit/nl - dark/nd - edges(times, sums, clock{phase, period}); c > contrast {
				best, contrast = clock{phase, period}, c
			}
		}
	}
	total := 0.0
	for _, s := range sums {
		total += s / float64(len(sums))
	}
	return best, contrast > .1*total
}

// edges is how bright the outermost frames of the preamble are: a phase that is off
// takes some of a lit chip in.
func edges(times []time.Duration, sums []float64, c clock) float64 {
	most := 0.0
	low := math.Inf(1)
	for i, t := range times {
		at := math.Mod(t.Seconds()-c.start+4*c.period*loopChips, c.period*loopChips) / c.period
		if at > .15 && at < patterns.CodePreamble-.15 {
			most, low = max(most, sums[i]), min(low, sums[i])
		}
	}
	return max(0, most-low)
}

// words is the mean of each chip of each light and channel; rows of 63.
func (c clock) words(times []time.Duration, values [][][3]float32) *mat.Dense {
	n := len(values[0]) * 3
	out, weights := mat.NewDense(n, chips, nil), [chips]float64{}
	for i, t := range times {
		at := math.Mod(t.Seconds()-c.start+4*c.period*loopChips, c.period*loopChips)/c.period - patterns.CodePreamble
		k := int(math.Floor(at))
		if k < 0 || k >= chips {
			continue
		}
		edge := min(at-float64(k), float64(k+1)-at) * c.period
		w := max(.1, min(1, edge/.03))
		weights[k] += w
		for l, v := range values[i] {
			for ch, x := range v {
				out.Set(l*3+ch, k, out.At(l*3+ch, k)+w*float64(x))
			}
		}
	}
	for row := range n {
		r, sum := out.RawRowView(row), 0.0
		for k := range r {
			r[k] /= max(weights[k], .1)
			sum += r[k] / chips
		}
		for k := range r {
			r[k] -= sum
		}
	}
	return out
}
