package budget

import (
	"math"
	"slices"
)

// A sparse matrix is symmetric and kept by rows, each in the order of its columns.
type sparse struct{ rows [][]entry }

type entry struct {
	column int
	value  float64
}

func (m *sparse) reset(n int) {
	if len(m.rows) != n {
		m.rows = make([][]entry, n)
		return
	}
	for i, row := range m.rows {
		for j := range row {
			m.rows[i][j].value = 0
		}
	}
}

func (m *sparse) add(i, j int, v float64) {
	row := m.rows[i]
	at, found := slices.BinarySearchFunc(row, j, func(e entry, column int) int { return e.column - column })
	if found {
		row[at].value += v
		return
	}
	m.rows[i] = slices.Insert(row, at, entry{j, v})
}

func (m *sparse) times(x, y []float64) {
	for i, row := range m.rows {
		sum := 0.0
		for _, e := range row {
			sum += e.value * x[e.column]
		}
		y[i] = sum
	}
}

// solve finds x from b by conjugate gradients, scaled by the diagonal. It reports
// false when the matrix turns out not to be positive definite.
func (m *sparse) solve(b, x []float64) bool {
	n := len(b)
	clear(x)
	r := slices.Clone(b)
	z, p, q := make([]float64, n), make([]float64, n), make([]float64, n)
	diag := make([]float64, n)
	for i := range diag {
		for _, e := range m.rows[i] {
			if e.column == i {
				diag[i] = e.value
			}
		}
		if !(diag[i] > 0) {
			return false
		}
	}
	rz, first := 0.0, 0.0
	for step := 0; step < 4*n+20; step++ {
		next := 0.0
		for i := range r {
			z[i] = r[i] / diag[i]
			next += r[i] * z[i]
		}
		if step == 0 {
			first = next
		}
		if next <= first*1e-30 {
			return true
		}
		for i := range p {
			if step == 0 {
				p[i] = z[i]
			} else {
				p[i] = z[i] + next/rz*p[i]
			}
		}
		rz = next
		m.times(p, q)
		pq := 0.0
		for i := range p {
			pq += p[i] * q[i]
		}
		if !(pq > 0) {
			return false
		}
		alpha := rz / pq
		for i := range x {
			x[i] += alpha * p[i]
			r[i] -= alpha * q[i]
		}
	}
	return !math.IsNaN(rz)
}

// eliminate solves a small full system in place, by Gauss with the greatest pivot of each
// column. It reports false when there is none.
func eliminate(a [][]float64, b []float64) bool {
	for c := range a {
		top := c
		for i := c + 1; i < len(a); i++ {
			if math.Abs(a[i][c]) > math.Abs(a[top][c]) {
				top = i
			}
		}
		a[c], a[top], b[c], b[top] = a[top], a[c], b[top], b[c]
		if !(math.Abs(a[c][c]) > 0) {
			return false
		}
		for i := c + 1; i < len(a); i++ {
			f := a[i][c] / a[c][c]
			for j := c; j < len(a); j++ {
				a[i][j] -= f * a[c][j]
			}
			b[i] -= f * b[c]
		}
	}
	for c := len(a) - 1; c >= 0; c-- {
		for j := c + 1; j < len(a); j++ {
			b[c] -= a[c][j] * b[j]
		}
		b[c] /= a[c][c]
	}
	return true
}
