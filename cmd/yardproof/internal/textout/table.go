// Package textout writes what people read in a terminal and in a spreadsheet: tables,
// CSV, counts, ranges and lists of names. It refuses to know what the words are about.
package textout

import (
	"bufio"
	"io"
	"iter"
	"slices"
	"strings"
	"unicode/utf8"
)

// Table is text in columns, as wide as what stands in them.
type Table struct {
	heads  []string
	widths []int // of the widest cell
	rows   [][]string
}

// NewTable returns a table with these heads and no rows. A head that begins with >
// belongs to a column of numbers.
func NewTable(heads ...string) *Table { return &Table{heads: heads, widths: make([]int, len(heads))} }

// Add adds a row: one cell for each head.
func (t *Table) Add(cells ...string) {
	t.Measure(cells...)
	t.rows = append(t.rows, cells)
}

// Measure makes room for a row that [Table.Stream] will bring.
func (t *Table) Measure(cells ...string) {
	for i, cell := range cells {
		t.widths[i] = max(t.widths[i], utf8.RuneCountInString(cell))
	}
}

// Empty reports whether no row was added.
func (t *Table) Empty() bool { return len(t.rows) == 0 }

// Print writes the table, or nothing when it has no row. A column that is empty
// in every row is left out.
func (t *Table) Print(w io.Writer) error {
	if len(t.rows) == 0 {
		return nil
	}
	return t.Stream(w, slices.Values(t.rows))
}

// Fit leaves out columns by their heads, the first named first, until the table is no
// wider than that, if it can be.
func (t *Table) Fit(width int, least ...string) {
	heads := make([]string, len(t.heads))
	wide := -2 // what stands between two columns
	cost := func(i int) int {
		if t.widths[i] == 0 {
			return 0
		}
		return 2 + max(t.widths[i], utf8.RuneCountInString(heads[i]))
	}
	for i, h := range t.heads {
		heads[i] = strings.TrimPrefix(h, ">")
		wide += cost(i)
	}
	for _, head := range least {
		if i := slices.Index(heads, head); i >= 0 && wide > width {
			wide -= cost(i)
			t.widths[i] = 0
		}
	}
}

// Stream writes rows that were measured and not kept. What is wider than it was
// measured stands out.
func (t *Table) Stream(w io.Writer, rows iter.Seq[[]string]) error {
	out := bufio.NewWriter(w)
	line := func(cells []string) {
		var pending strings.Builder // what may turn out to be trailing space
		first := true
		for i, cell := range cells {
			if t.widths[i] == 0 {
				continue
			}
			head, right := strings.CutPrefix(t.heads[i], ">")
			pad := strings.Repeat(" ", max(0, t.widths[i]-utf8.RuneCountInString(cell), utf8.RuneCountInString(head)-utf8.RuneCountInString(cell)))
			if !first {
				pending.WriteString("  ")
			}
			first = false
			if right {
				pending.WriteString(pad)
			}
			if cell != "" {
				out.WriteString(pending.String())
				pending.Reset()
				out.WriteString(cell)
			}
			if !right {
				pending.WriteString(pad)
			}
		}
		out.WriteByte('\n')
	}
	heads := make([]string, len(t.heads))
	for i, h := range t.heads {
		heads[i] = strings.TrimPrefix(h, ">")
	}
	line(heads)
	for row := range rows {
		line(row)
	}
	return out.Flush()
}
