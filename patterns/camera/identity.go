package camera

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardproof/patterns"
)

// templates are the words of addresses, mean-free and of unit length; rows of 63.
func templates(addresses []int) *mat.Dense {
	t := mat.NewDense(len(addresses), chips, nil)
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

const (
	batch = 32 // lights whose correlations are in memory together
	tried = 12 // addresses of a light that are fitted
)

// decode finds the address of every light, and keeps those that are sure, each
// address at its best place.
func decode(lights []light, words *mat.Dense, addresses []int, slots int) []Address {
	if len(addresses) < slots {
		return nil
	}
	t := templates(addresses)
	best := map[int]Address{}
	for from := 0; from < len(lights); from += batch {
		to := min(from+batch, len(lights))
		var corr mat.Dense
		corr.Mul(words.Slice(from*3, to*3, 0, chips), t.T())
		for i := from; i < to; i++ {
			rows := [3][]float64{corr.RawRowView((i - from) * 3), corr.RawRowView((i-from)*3 + 1), corr.RawRowView((i-from)*3 + 2)}
			a, ok := identify(rows, words.Slice(i*3, i*3+3, 0, chips), t, addresses, slots)
			if !ok {
				continue
			}
			a.X, a.Y = lights[i].x, lights[i].y
			if b, taken := best[a.First]; !taken || a.power() > b.power() {
				best[a.First] = a
			}
		}
	}
	var all []Address
	for _, a := range best {
		all = append(all, a)
	}
	slices.SortFunc(all, func(p, q Address) int { return p.First - q.First })
	return all
}

// power ranks places that answer one address: a reflection is the weaker one.
func (a Address) power() float64 {
	sum := 0.0
	for _, r := range a.Response {
		for _, v := range r {
			sum += max(0, v)
		}
	}
	return sum * a.Fit * a.Fit
}

// identify fits the addresses whose slots, one after another, take up most of what
// blinks, and compares the best with the best of those not beside it.
func identify(rows [3][]float64, word mat.Matrix, t *mat.Dense, addresses []int, slots int) (Address, bool) {
	energy := make([]float64, len(addresses))
	for _, r := range rows {
		for i, v := range r {
			energy[i] += max(0, v) * max(0, v)
		}
	}
	type start struct {
		at  int
		sum float64
	}
	var top []start
	for i := 0; i+slots <= len(addresses); i++ {
		if addresses[i+slots-1] != addresses[i]+slots-1 {
			continue
		}
		sum := 0.0
		for k := range slots {
			sum += energy[i+k]
		}
		if len(top) == tried && sum <= top[tried-1].sum {
			continue
		}
		at, _ := slices.BinarySearchFunc(top, sum, func(s start, v float64) int {
			if s.sum > v {
				return -1
			}
			return 1
		})
		top = slices.Insert(top, at, start{i, sum})
		top = top[:min(len(top), tried)]
	}
	var fits []Address
	for _, s := range top {
		fits = append(fits, fit(word, t.Slice(s.at, s.at+slots, 0, chips), addresses[s.at]))
	}
	slices.SortStableFunc(fits, func(p, q Address) int {
		if p.Fit > q.Fit {
			return -1
		}
		return 1
	})
	if len(fits) == 0 || fits[0].Fit <= 0 {
		return Address{}, false
	}
	first, other := fits[0], 0.0
	for _, f := range fits[1:] {
		if d := f.First - first.First; d > 2 || d < -2 {
			other = f.Fit
			break
		}
	}
	first.Margin = 3 * chips * math.Log((1-other)/max(1-first.Fit, 1e-9))
	return first, first.Margin > Sure
}

// fit explains three channels by the words of a pixel's slots, by least squares.
func fit(word, slots mat.Matrix, address int) Address {
	n, _ := slots.Dims()
	var gram, right, solved mat.Dense
	gram.Mul(slots, slots.T())
	right.Mul(slots, word.T())
	a := Address{First: address, Response: make([][3]float64, n)}
	if err := solved.Solve(&gram, &right); err != nil {
		return a // two slots have one word, or nearly
	}
	explained, total := 0.0, 0.0
	for ch := range 3 {
		for k := range n {
			explained += solved.At(k, ch) * right.At(k, ch)
			a.Response[k][ch] = solved.At(k, ch)
		}
		for k := range chips {
			total += word.At(ch, k) * word.At(ch, k)
		}
	}
	if total > 0 {
		a.Fit = explained / total
	}
	return a
}
