package camera

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A light errs as it shines: a bough before it takes a share of it, a camera rounds and
// compresses a share of it, and what is dark is dark for sure.
const (
	errShare  = .15 // of a light with all its slots lit: how a dark chip errs
	reweights = 2
	maxSlots  = 4 // of a pixel
)

// alone says what each slot of a light gives, and how far that may be off, mostly by the
// chips in which one slot shines alone: least squares, each chip weighed by how little of
// the light is lit in it, with what is there when nothing of it is. It says nothing of a
// light that the film shows too little of.
func (d *decoder) alone(i int, l Light) (response, noise [][3]float64) {
	at, found := slices.BinarySearch(d.sent.Addresses, l.First)
	if !found || at+l.Slots > len(d.codes) || l.Slots > maxSlots {
		return nil, nil
	}
	rows := make([][1 + maxSlots]float64, 0, chips) // of each chip: 1, and 1 for each slot that is lit
	seen := make([][3]float64, 0, chips)
	for k := range chips {
		v := [3]float64{d.words.At(3*i, k), d.words.At(3*i+1, k), d.words.At(3*i+2, k)}
		if v == [3]float64{} {
			continue // no frame shows it
		}
		row := [1 + maxSlots]float64{1}
		for s := range l.Slots {
			row[1+s] = float64(d.codes[at+s].word >> (chips - 1 - k) & 1)
		}
		rows, seen = append(rows, row), append(seen, v)
	}
	unknown := l.Slots + 1
	if len(rows) <= 2*unknown {
		return nil, nil
	}
	weight := make([]float64, len(rows))
	for k := range weight {
		weight[k] = 1
	}
	var inverse, solved mat.Dense
	for pass := 0; ; pass++ {
		gram, right := mat.NewDense(unknown, unknown, nil), mat.NewDense(unknown, 3, nil)
		for k, row := range rows {
			for a, p := range row[:unknown] {
				if p == 0 {
					continue
				}
				sums, sum := gram.RawRowView(a), right.RawRowView(a)
				for b, q := range row[:unknown] {
					sums[b] += weight[k] * q
				}
				for ch, v := range seen[k] {
					sum[ch] += weight[k] * v
				}
			}
		}
		if err := inverse.Inverse(gram); err != nil {
			return nil, nil // two slots have one word, or nearly
		}
		solved.Mul(&inverse, right)
		if pass == reweights {
			break
		}
		gives := make([]float64, unknown) // what each slot adds to the light
		total := 0.0
		for s := 1; s < unknown; s++ {
			for ch := range 3 {
				gives[s] += max(0, solved.At(s, ch))
			}
			total += gives[s]
		}
		if total == 0 {
			return nil, nil
		}
		for k, row := range rows {
			lit := 0.0
			for s, on := range row[:unknown] {
				lit += on * gives[s] / total
			}
			weight[k] = 1 / (errShare*errShare + lit*lit)
		}
	}
	var square [3]float64 // of what is left, weighted
	for k, row := range rows {
		for ch, v := range seen[k] {
			for a, p := range row[:unknown] {
				v -= p * solved.At(a, ch)
			}
			square[ch] += weight[k] * v * v
		}
	}
	response, noise = make([][3]float64, l.Slots), make([][3]float64, l.Slots)
	for s := range l.Slots {
		for ch := range 3 {
			response[s][ch] = solved.At(s+1, ch)
			noise[s][ch] = math.Sqrt(square[ch] / float64(len(rows)-unknown) * max(0, inverse.At(s+1, s+1)))
		}
	}
	return response, noise
}
