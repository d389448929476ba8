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

// steps are the chips of the three channels in sixteen steps each, summed for whatever
// eight chips of a word are lit. Words are looked up by octets then, which is many times
// as fast as multiplying.
type steps struct {
	lit  [8][256]uint64 // by octet of a word: a sum a channel, channelBits each
	sum  [3]float32     // of all chips
	step [3]float32
}

const channelBits = 20 // of three in 64

func (s *steps) of(words *mat.Dense, place int) {
	var chip [64]uint64 // by bit of a word
	for ch := range 3 {
		row := words.RawRowView(3*place + ch)
		lo, hi := slices.Min(row), slices.Max(row)
		s.sum[ch], s.step[ch] = 0, 0
		if hi <= lo {
			continue
		}
		step := (hi - lo) / 15
		for k, v := range row {
			q := uint64(math.Round((v - lo) / step))
			s.sum[ch] += float32(q)
			chip[chips-1-k] |= q << (channelBits * ch)
		}
		s.step[ch] = float32(step)
	}
	for o := range s.lit {
		for v := 1; v < 256; v++ {
			s.lit[o][v] = s.lit[o][v&(v-1)] + chip[8*o+bits.TrailingZeros8(uint8(v))]
		}
	}
}

// energies are, for each address, how much of what a place shows is its word: the
// squares of the correlations in the three channels, but for negative ones.
func (d *decoder) energies(into []float32, s *steps) {
	for i, c := range d.codes {
		w := c.word
		n := s.lit[0][uint8(w)] + s.lit[1][uint8(w>>8)] + s.lit[2][uint8(w>>16)] + s.lit[3][uint8(w>>24)] +
			s.lit[4][uint8(w>>32)] + s.lit[5][uint8(w>>40)] + s.lit[6][uint8(w>>48)] + s.lit[7][uint8(w>>56)]
		energy := float32(0)
		for ch := range s.step {
			v := max(0, s.step[ch]*(float32(n&(1<<channelBits-1))-c.lit*s.sum[ch])) // no branch: it would be a coin's toss
			energy += v * v * c.scale
			n >>= channelBits
		}
		into[i] = energy
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
func (d *decoder) identify(energy []float32, s *steps, i int) Light {
	best, other := Light{First: -1}, 0.0
	var fits []Light
	s.of(d.words, i)
	d.energies(energy, s)
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
