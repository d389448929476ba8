package budget

// A band is a symmetric matrix of half-bandwidth 1, or 2 for a ladder whose two
// rails are solved apart, kept as its diagonal and the one or two below it and
// factored in place as L·D·Lᵀ. Everything is linear in its order.
type band struct {
	diag, one, two []float64 // one[i] is A[i][i-1]; two[i] is A[i][i-2], nil with half-bandwidth 1
}

func (a *band) reset(n, half int) {
	a.diag = zeros(a.diag, n)
	a.one = zeros(a.one, n)
	if half == 2 {
		a.two = zeros(a.two, n)
	} else {
		a.two = nil
	}
}

// zeros returns n zeros, in s when they fit.
func zeros(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n)
	}
	s = s[:n]
	clear(s)
	return s
}

// factor reports false when the matrix is not positive definite: then there is
// no state that the network would settle in.
func (a *band) factor() bool {
	if a.two == nil {
		for i, d := range a.diag {
			if i > 0 {
				l := a.one[i] * a.diag[i-1]
				d -= a.one[i] * l
				a.one[i] = l
			}
			if !(d > 0) {
				return false
			}
			a.diag[i] = 1 / d
		}
		return true
	}
	for i, d := range a.diag {
		if i > 1 {
			two := a.two[i]
			a.one[i] -= two * a.one[i-1]
			a.two[i] = two * a.diag[i-2]
			d -= two * a.two[i]
		}
		if i > 0 {
			one := a.one[i]
			a.one[i] = one * a.diag[i-1]
			d -= one * a.one[i]
		}
		if !(d > 0) {
			return false
		}
		a.diag[i] = 1 / d
	}
	return true
}

// solve turns a right-hand side into the solution, in place.
func (a *band) solve(x []float64) {
	n := len(a.diag)
	if a.two == nil {
		for i := 1; i < n; i++ {
			x[i] -= a.one[i] * x[i-1]
		}
		last := 0.0
		for i := n - 1; i >= 0; i-- {
			v := x[i] * a.diag[i]
			if i < n-1 {
				v -= a.one[i+1] * last
			}
			x[i], last = v, v
		}
		return
	}
	for i := 1; i < n; i++ {
		x[i] -= a.one[i] * x[i-1]
		if i > 1 {
			x[i] -= a.two[i] * x[i-2]
		}
	}
	for i := n - 1; i >= 0; i-- {
		v := x[i] * a.diag[i]
		if i < n-1 {
			v -= a.one[i+1] * x[i+1]
		}
		if i < n-2 {
			v -= a.two[i+2] * x[i+2]
		}
		x[i] = v
	}
}
