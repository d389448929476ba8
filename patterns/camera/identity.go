package camera

import (
	"cmp"
	"math"
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
	sum       float64
}

// likely are the windows whose slots, one after another, take up most of what blinks.
func (d *decoder) likely(rows [3][]float64) []window {
	addresses := d.sent.Addresses
	energy := make([]float64, len(addresses))
	for _, r := range rows {
		for i, v := range r {
			if v > 0 {
				energy[i] += v * v
			}
		}
	}
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
		at, _ := slices.BinarySearchFunc(top, sum, func(w window, v float64) int { return cmp.Compare(v, w.sum) })
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
func (d *decoder) identify(rows [3][]float64, i int) Light {
	best, other := Light{First: -1}, 0.0
	var fits []Light
	for _, w := range d.likely(rows) {
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
