package camera

import (
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// blinking is a decoder of lights that lie in a row, ten apart, and show the words of
// addresses: each of them with a weight a channel.
func blinking(sent Sent, lights ...map[int][3]float64) *decoder {
	d := &decoder{cores: 1, sent: sent, templates: templates(sent.Addresses), codes: codes(sent.Addresses),
		words: mat.NewDense(3*len(lights), chips, nil), rest: make([]steady, len(lights))}
	for i, l := range lights {
		d.places = append(d.places, place{x: 50 + 10*float64(i), y: 50})
		for a, weight := range l {
			at, _ := slices.BinarySearch(sent.Addresses, a)
			for ch, w := range weight {
				row := d.words.RawRowView(3*i + ch)
				for k, v := range d.templates.RawRowView(at) {
					row[k] += w * v
				}
			}
		}
	}
	return d
}

// ladder are sent addresses from one on, of pixels of three slots.
func ladder(from, to int) (s Sent) {
	for a := from; a < to; a++ {
		s.Addresses, s.Slots = append(s.Addresses, a), append(s.Slots, 3)
	}
	return s
}

// A first pixel without its last die shows two slots, and a spare one of the universe
// before would do as well: its neighbours know which it is.
func TestFirstOfUniverse(t *testing.T) {
	red, green, blue := [3]float64{1, .1, .05}, [3]float64{.1, 1, .1}, [3]float64{.05, .1, 1}
	lights := []map[int][3]float64{{511: {.02, .03, .01}, 512: red, 513: green}}
	for a := 515; a < 540; a += 3 {
		lights = append(lights, map[int][3]float64{a: red, a + 1: green, a + 2: blue})
	}
	d := blinking(ladder(400, 700), lights...)
	if l := d.identifyAll(t.Context())[0]; l.First != 511 {
		t.Errorf("by itself the first is %d: this proves nothing", l.First)
	}
	read, _ := d.decode(t.Context())
	for k, l := range read {
		if l.First != 512+3*k {
			t.Errorf("light %d at %.0f is %d, want %d", k, l.X, l.First, 512+3*k)
		}
	}
	if len(read) != len(lights) {
		t.Errorf("%d of %d are read", len(read), len(lights))
	}
}

// A string whose last two pixels lie in the next universe is read whole: those before them
// know nothing of how slots are counted there.
func TestLastInUniverse(t *testing.T) {
	var lights []map[int][3]float64
	for _, a := range []int{480, 483, 486, 489, 492, 495, 498, 501, 504, 507, 512, 515} {
		lights = append(lights, map[int][3]float64{a: {1, .1, .05}, a + 1: {.1, 1, .1}, a + 2: {.05, .1, 1}})
	}
	read, others := blinking(ladder(400, 700), lights...).decode(t.Context())
	if len(read) != len(lights) || read[10].First != 512 || read[11].First != 515 {
		t.Errorf("%d of %d are read, others %+v", len(read), len(lights), others)
	}
}

// What blinks nearly like an address is no light of it if no neighbour has slots as it
// would have; a weak light among its own is.
func TestWeakAlone(t *testing.T) {
	noisy := func(first int) map[int][3]float64 { // three slots, and as much of others, each for itself
		l := map[int][3]float64{first: {1, .1, .1}, first + 1: {.1, 1, .1}, first + 2: {.1, .1, 1}}
		for k := range 9 {
			l[650+17*k] = [3]float64{.3 * float64(k%3), .28 * float64((k+1)%3), .3 * float64((k+2)%3)}
		}
		return l
	}
	lights := []map[int][3]float64{noisy(570), noisy(518)}
	for a := 521; a < 545; a += 3 {
		lights = append(lights, map[int][3]float64{a: {1, .1, .1}, a + 1: {.1, 1, .1}, a + 2: {.1, .1, 1}})
	}
	d := blinking(ladder(400, 900), lights...)
	for i, l := range d.identifyAll(t.Context())[:2] {
		if l.Margin < Sure || l.Margin > weakMargin || l.First != []int{570, 518}[i] {
			t.Errorf("light %d is %d with a margin of %.0f: this proves nothing", i, l.First, l.Margin)
		}
	}
	read, others := d.decode(t.Context())
	if len(read) != len(lights)-1 || len(others) != 1 || others[0].X != 50 {
		t.Errorf("%d of %d are read, others %+v", len(read), len(lights), others)
	}
}
