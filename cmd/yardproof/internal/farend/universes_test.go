package farend

import (
	"fmt"
	"slices"
	"testing"

	"yardproof/cmd/yardproof/internal/textout"
)

func TestParseUniverses(t *testing.T) {
	for in, want := range map[string]string{
		"":             "[]",
		"7":            "[7]",
		"1-3,100":      "[1 2 3 100]",
		" 5 - 6 , 1 ":  "[1 5 6]",
		"9,8,8,8-9":    "[8 9]",
		"63999":        "[63999]",
		"0":            `"0" is outside universes 1-63999`,
		"63999-64000":  `"63999-64000" is outside universes 1-63999`,
		"4-2":          `"4-2" runs backwards`,
		"1,,2":         `"" is neither a universe nor a range such as 1-40`,
		"1-2-3":        `"1-2-3" is neither a universe nor a range such as 1-40`,
		"one":          `"one" is neither a universe nor a range such as 1-40`,
		"99999999999 ": `"99999999999 " is outside universes 1-63999`,
	} {
		got, err := ParseUniverses(in)
		text := fmt.Sprint(got)
		if err != nil {
			text = err.Error()
		}
		if text != want {
			t.Errorf("%q: %s, want %s", in, text, want)
		}
	}
}

// What is understood is in range, ascending, and reads the same when written again.
func FuzzParseUniverses(f *testing.F) {
	for _, s := range []string{"1-40,100", "63999", " 5 - 6 , 1 ", "4-2", "1-2-3", ",", "-1", "1-99999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseUniverses(s)
		if err != nil {
			return
		}
		numbers := make([]int, len(got))
		for i, u := range got {
			numbers[i] = int(u)
			if u < 1 || u > 63999 || i > 0 && got[i-1] >= u {
				t.Fatalf("%q: %v", s, got)
			}
		}
		again, err := ParseUniverses(textout.Ranges(numbers))
		if err != nil || !slices.Equal(again, got) {
			t.Fatalf("%q: %v, then %v, %v", s, got, again, err)
		}
	})
}
