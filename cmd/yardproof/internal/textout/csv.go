package textout

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// CSV writes rows for spreadsheets.
type CSV struct{ w *csv.Writer }

// NewCSV returns a writer of rows. Nothing reaches w for certain before Flush.
func NewCSV(w io.Writer) CSV { return CSV{csv.NewWriter(w)} }

// Row writes one row. A cell is an int, a uint16, a float64 or a string;
// anything else is an empty cell. Text that a spreadsheet would take for a formula is marked.
func (c CSV) Row(cells ...any) {
	row := make([]string, len(cells))
	for i, cell := range cells {
		switch cell := cell.(type) {
		case int:
			row[i] = strconv.Itoa(cell)
		case uint16:
			row[i] = strconv.Itoa(int(cell))
		case float64:
			row[i] = Number(cell)
		case string:
			row[i] = mark(cell)
		}
	}
	c.w.Write(row) // the writer keeps the first error for Flush
}

// Flush ends the rows and returns the first error there was.
func (c CSV) Flush() error {
	c.w.Flush()
	return c.w.Error()
}

// formula is what the first character of a formula can be.
const formula = "=+-@"

func mark(s string) string {
	if s != "" && strings.IndexByte(formula, s[0]) >= 0 {
		return "'" + s
	}
	return s
}

// Cell reads a cell back: without blanks around it, and without the mark that
// keeps its text from being a formula.
func Cell(s string) string {
	s = strings.TrimSpace(s)
	if len(s) > 1 && s[0] == '\'' && strings.IndexByte(formula, s[1]) >= 0 {
		return s[1:]
	}
	return s
}
