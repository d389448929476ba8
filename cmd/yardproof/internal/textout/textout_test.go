package textout

import (
	"bytes"
	"encoding/csv"
	"testing"
)

// TestSpreadsheetCells checks that no cell can act as a formula.
func TestSpreadsheetCells(t *testing.T) {
	for in, want := range map[string]string{"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@a": "'@a", "a=1": "a=1", "": "", "1": "1"} {
		var b bytes.Buffer
		w := NewCSV(&b)
		w.Row(in, "x")
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		row, err := csv.NewReader(&b).Read()
		if err != nil || row[0] != want {
			t.Errorf("%q became %q, %v; want %q", in, row, err, want)
		}
	}
}
