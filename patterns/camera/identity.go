package camera

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardproof/patterns"
)

// templates are the words of addresses, mean-free and of unit length; rows of 63.
func templates(addresses []int) *mat.Dense {
	t := mat.NewDense(max(1, len(addresses)), chips, nil)
	for i, a := range addresses {
		word, row := patterns.CodeWord(a), t.RawRowView(i)
		lit := 0.0
		for k := range row {
			row[k] = float64(word >> (chips - 1 - k) & 1)
			lit += row[k]
		}
		mean := lit / chips
		length := math.Sqrt(lit * (1 - mean))
		for k := range row {
			row[k] = (row[k] - mean) / length
		}
	}
	return t
}

// tried is how many addresses of a light are fitted.
const tried = 12

// window is a pixel's slots among the addresses: the first one's index, and how many.
type window struct {
	at, slots int
	sum       float32
}

// code is an address's word as bits, and what makes a correlation with it mean-free and
// that with its template.
type code struct {
	word  uint64
	lit   float32 // share of its chips
	scale float32 // 1 by the squared length of the mean-free word
}

func codes(addresses []int) []code {
	all := make([]code, len(addresses))
	for i, a := range addresses {
		word := patterns.CodeWord(a)
		lit := float32(bits.OnesCount64(word))
		all[i] = code{word, lit / chips, 1 / (lit * (1 - lit/chips))}
	}
	return all
}

// planes are the chips of one channel in sixteen steps, a word of bits for each power of
// two: counting bits then correlates them with a word, ten times as fast as multiplying.
type planes struct {
	of   [4]uint64
	sum  float32 // of all chips, in steps
	step float32
}

func planesOf(row []float64) (p planes) {
	lo, hi := slices.Min(row), slices.Max(row)
	if hi <= lo {
		return p
	}
	step := (hi - lo) / 15
	for k, v := range row {
		q := uint64(math.Round((v - lo) / step))
		p.sum += float32(q)
		for b := range p.of {
			p.of[b] |= q >> b & 1 << (chips - 1 - k)
		}
	}
	p.step = float32(step)
	return p
}

// energies are, for each address, how much of what a place shows is its word: the
// squares of the correlations in the three channels, but for negative ones.
func (d *decoder) energies(into []float32, place int) {
	clear(into)
	for ch := range 3 {
		p := planesOf(d.words.RawRowView(3*place + ch))
		for i, c := range d.codes {
			n := bits.OnesCount64(p.of[0]&c.word) + 2*bits.OnesCount64(p.of[1]&c.word) + 4*bits.OnesCount64(p.of[2]&c.word) + 8*bits.OnesCount64(p.of[3]&c.word)
			if v := p.step * (float32(n) - c.lit*p.sum); v > 0 {
				into[i] += v * v * c.scale
			}
		}
	}
}

// likely are the windows whose slots, one after another, take up most of what blinks.
func (d *decoder) likely(energy []float32) []window {
	addresses := d.sent.Addresses
	var top []window
	for i, slots := range d.sent.Slots {
		if i+slots > len(addresses) {
			break
		}
		sum := energy[i] + energy[i+1] + energy[i+2]
		if slots == 4 {
			sum += energy[i+3]
		}
		if len(top) == tried && sum <= top[tried-1].sum || !d.whole(i, slots) {
			continue
		}
		at, _ := slices.BinarySearchFunc(top, sum, func(w window, v float32) int { return cmp.Compare(v, w.sum) })
		top = slices.Insert(top, at, window{i, slots, sum})
		top = top[:min(len(top), tried)]
	}
	return top
}

// whole reports whether slots from an index on can be one pixel's: one after another,
// all of strings of one kind.
func (d *decoder) whole(i, slots int) bool {
	last := i + slots - 1
	return d.sent.Addresses[last] == d.sent.Addresses[i]+slots-1 && d.sent.Slots[last] == d.sent.Slots[i]
}

// identify fits the likely addresses of a place, and compares the best with the best
// of those not beside it.
func (d *decoder) identify(energy []float32, i int) Light {
	best, other := Light{First: -1}, 0.0
	var fits []Light
	d.energies(energy, i)
	for _, w := range d.likely(energy) {
		fits = append(fits, d.fit(i, d.sent.Addresses[w.at], w.slots))
	}
	for _, f := range fits {
		if best.First < 0 || f.Fit > best.Fit {
			best = f
		}
	}
	for _, f := range fits {
		if f.First < best.First-3 || f.First > best.First+3 {
			other = max(other, f.Fit)
		}
	}
	best.Margin = ratio(best.Fit, other)
	return best
}

// ratio is the log likelihood ratio of two fits.
func ratio(fit, other float64) float64 {
	return 3 * chips * math.Log((1-other)/max(1-fit, 1e-9))
}

// fit explains the three channels of a place by the words of a pixel's slots, by least
// squares. Addresses that were not sent explain nothing.
func (d *decoder) fit(i, address, slots int) Light {
	a := Light{First: address, Slots: slots, X: d.places[i].x, Y: d.places[i].y, Response: make([][3]float64, slots)}
	at, ok := slices.BinarySearch(d.sent.Addresses, address)
	if !ok || at+slots > len(d.sent.Addresses) || !d.whole(at, slots) {
		return a
	}
	word, t := d.words.Slice(i*3, i*3+3, 0, chips), d.templates.Slice(at, at+slots, 0, chips)
	var gram, right, solved mat.Dense
	gram.Mul(t, t.T())
	right.Mul(t, word.T())
	if err := solved.Solve(&gram, &right); err != nil {
		return a // two slots have one word, or nearly
	}
	explained, total := 0.0, 0.0
	for ch := range 3 {
		for k := range slots {
			explained += solved.At(k, ch) * right.At(k, ch)
			a.Response[k][ch] = solved.At(k, ch)
		}
		for k := range chips {
			total += word.At(ch, k) * word.At(ch, k)
		}
	}
	if total > 0 {
		a.Fit = explained / total
		a.Noise = math.Sqrt(max(0, total-explained) / float64(3*(chips-slots)))
	}
	return a
}
