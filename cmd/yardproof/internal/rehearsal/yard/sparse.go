package yard

import (
	"math"
	"slices"
)

// A network is resistances between nodes, as a symmetric matrix that is factored
// in the order of its nodes. Strings are long and thin: numbered along the data
// line, with what they share last, next to nothing fills in.
type network struct {
	cols [][]int     // by row: the columns past the diagonal that are not 0, rising
	vals [][]float64 //
	diag []float64
}

// newNetwork lays out a network of n nodes with the given links, fill included.
func newNetwork(n int, links [][2]int) *network {
	m := &network{cols: make([][]int, n), vals: make([][]float64, n), diag: make([]float64, n)}
	for _, l := range links {
		m.link(min(l[0], l[1]), max(l[0], l[1]))
	}
	for i := range n { // eliminating i ties together all that it touches
		if len(m.cols[i]) > 1 {
			first := m.cols[i][0]
			for _, j := range m.cols[i][1:] {
				m.link(first, j)
			}
		}
	}
	for i, c := range m.cols {
		m.vals[i] = make([]float64, len(c))
	}
	return m
}

func (m *network) link(i, j int) {
	if at, found := slices.BinarySearch(m.cols[i], j); !found && i != j {
		m.cols[i] = slices.Insert(m.cols[i], at, j)
	}
}

func (m *network) reset() {
	clear(m.diag)
	for _, v := range m.vals {
		clear(v)
	}
}

// add puts a conductance between two nodes.
func (m *network) add(i, j int, g float64) {
	if i > j {
		i, j = j, i
	}
	at, _ := slices.BinarySearch(m.cols[i], j)
	m.vals[i][at] -= g
	m.diag[i] += g
	m.diag[j] += g
}

// solve factors the matrix in place and replaces b by the solution. It reports
// false when the matrix has none.
func (m *network) solve(b []float64) bool {
	for i, d := range m.diag {
		if d == 0 || math.IsNaN(d) {
			return false
		}
		row, vals := m.cols[i], m.vals[i]
		for a, j := range row {
			f := vals[a] / d
			if f == 0 {
				continue
			}
			m.diag[j] -= f * vals[a]
			b[j] -= f * b[i]
			next, at := m.cols[j], 0
			for c := a + 1; c < len(row); c++ { // row's tail is part of next
				for next[at] != row[c] {
					at++
				}
				m.vals[j][at] -= f * vals[c]
			}
		}
	}
	for i := len(b) - 1; i >= 0; i-- {
		sum := b[i]
		for a, j := range m.cols[i] {
			sum -= m.vals[i][a] * b[j]
		}
		b[i] = sum / m.diag[i]
	}
	return true
}
