package protection

// Ratings that blade fuses are commonly sold in, in amperes (common practice, no source).
func ratings() []float64 { return []float64{40, 30, 25, 20, 15, 10, 7.5, 7, 5, 4, 3, 2, 1} }

// Gauges of copper that a mend may name, from thin to thick (common practice, no source).
func gauges() []int { return []int{20, 18, 16, 14, 12, 10, 8, 6} }

// fuseUpTo is the largest common rating of at most so many amperes; 0: none.
func fuseUpTo(amps float64) float64 {
	for _, r := range ratings() {
		if r <= amps*(1+1e-9) {
			return r
		}
	}
	return 0
}

// furthest is the piece furthest past its limit in one fault; nil: all are within.
func furthest(list []Piece) *Piece {
	var worst *Piece
	for i := range list {
		if p := &list[i]; !p.twice() && p.over() > 1 && (worst == nil || p.over() > worst.over()) {
			worst = p
		}
	}
	return worst
}
