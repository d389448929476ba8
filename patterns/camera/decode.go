package camera

import (
	"cmp"
	"context"
	"image"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// Sent is what the yard was sent.
type Sent struct {
	Addresses []int // of all slots, ascending; no two may be patterns.CodeAddresses apart
	Slots     []int // of each address: how many slots a pixel has that begins there, 3 or 4
}

// Reading is what a film shows.
type Reading struct {
	Lights []Light // those that answer an address, by address
	Others []Light // those that were not read: lamps, reflections, pixels that do not blink
	Size   image.Point
	Base   int // the frame in whose picture places are
}

// Light is a light of the film.
type Light struct {
	X, Y   float64 // in the picture of the base frame, in pixels of it
	First  int     // address of the first slot of its pixel
	Slots  int     // how many it has
	Fit    float64 // share of its blinking that its slots explain, 0 to 1
	Margin float64 // log likelihood ratio to the next address that is not beside it

	// Response is what each slot of the pixel gives in red, green and blue of the
	// camera, in its linear units.
	Response [][3]float64

	Noise float64 // standard error of a response

	// Alone is Response by other means, in linear units of its own: mostly by the chips in
	// which a slot shines alone. AloneNoise is its standard error. Both are nil where the
	// film shows too little of the light.
	Alone, AloneNoise [][3]float64

	Dark, Mean float64 // light in the dark preamble, and in the mean of all chips; linear units
	Around     float64 // light four pixels around in the dark preamble: about 0 for a point, about Dark for a window
	Pitch      float64 // to the next pixel of its string, in the picture; 0: not known

	Echo    bool // the same address is answered elsewhere, and brighter
	Chained bool // its address, or which slot of it is the first, was taken from its neighbours
}

// Sure is the margin from which an address counts: by simulation, right ones lie far
// above it and wrong ones, but for those of the slot beside, below.
const Sure = 40

// Read lays the frames on each other, finds what blinks and decodes it.
func Read(ctx context.Context, f Film, sent Sent) (*Reading, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	f = f.keeping(roomOfFrames)
	peaks := make([][]peak, len(f.Times))
	sizes := make([]image.Point, len(f.Times))
	finders := sync.Pool{New: func() any { return new(finder) }}
	if err := f.each(ctx, 0, func(i int, m *image.YCbCr) error {
		lights := finders.Get().(*finder)
		defer finders.Put(lights)
		peaks[i], sizes[i] = lights.peaks(m), m.Rect.Size()
		return nil
	}); err != nil {
		return nil, err
	}
	if slices.ContainsFunc(sizes, func(s image.Point) bool { return s != sizes[0] }) {
		return nil, ErrSizes
	}
	a, motions, err := layAll(peaks)
	if err != nil {
		return nil, err
	}
	s := sampler{linear(), a.candidates(len(peaks))}
	if len(s.places) == 0 {
		return nil, ErrEmpty
	}
	values := make([][]value, len(peaks)) // frame, place
	if err := f.each(ctx, 1, func(i int, m *image.YCbCr) error {
		values[i] = s.sample(m, motions[i])
		return nil
	}); err != nil {
		return nil, err
	}
	c, ok := findClock(f.Times, values)
	if !ok {
		return nil, ErrClock
	}
	words, rest := c.words(f.Times, values)
	d := decoder{cores: f.cores(), places: s.places, rest: rest, words: words, sent: sent, templates: templates(sent.Addresses), codes: codes(sent.Addresses)}
	r := &Reading{Size: sizes[0], Base: a.base}
	r.Lights, r.Others = d.decode(ctx)
	if len(r.Lights) == 0 && ctx.Err() == nil {
		return nil, ErrClock
	}
	return r, context.Cause(ctx)
}

// decoder has what is known of each place of the map.
type decoder struct {
	cores     int
	places    []place
	rest      []steady
	words     *mat.Dense // three rows a place, mean-free
	sent      Sent
	templates *mat.Dense // a row an address
	codes     []code     // an address each
}

// decode finds the address of every light, and tells those that are sure from others.
func (d *decoder) decode(ctx context.Context) (read, others []Light) {
	all := d.identifyAll(ctx)
	ch := &chain{d: d, all: all}
	ch.join()
	for i, l := range all {
		l.Pitch = ch.pitch[i]
		l.Dark, l.Around, l.Mean = d.rest[i].dark, d.rest[i].around, d.rest[i].mean
		if ch.taken[i] {
			l.Alone, l.AloneNoise = d.alone(i, l)
			read = append(read, l)
		} else {
			others = append(others, l)
		}
	}
	slices.SortStableFunc(read, func(p, q Light) int { return cmp.Or(cmp.Compare(p.First, q.First), cmp.Compare(q.power(), p.power())) })
	return read, others
}

// identifyAll identifies each place by itself.
func (d *decoder) identifyAll(ctx context.Context) []Light {
	all := make([]Light, len(d.places))
	for i, p := range d.places {
		all[i] = Light{X: p.x, Y: p.y, First: -1}
	}
	if len(d.sent.Addresses) == 0 {
		return all
	}
	next := make(chan int)
	var workers sync.WaitGroup
	for range d.cores {
		workers.Go(func() {
			energy, chip := make([]float32, len(d.sent.Addresses)), new(steps)
			for i := range next {
				l := d.identify(energy, chip, i)
				l.X, l.Y = all[i].X, all[i].Y
				all[i] = l
			}
		})
	}
	for i := 0; i < len(all) && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	workers.Wait()
	return all
}

// power ranks places that answer one address: a reflection is the weaker one.
func (l Light) power() float64 {
	sum := 0.0
	for _, r := range l.Response {
		for _, v := range r {
			sum += max(0, v)
		}
	}
	return sum * l.Fit * l.Fit
}
