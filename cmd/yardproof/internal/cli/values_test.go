package cli

import "testing"

func TestParseLevel(t *testing.T) {
	for text, want := range map[string]float64{"0": 0, "80%": .8, " 100 % ": 1, "12.5": .125} {
		if got, err := ParseLevel(text); got != want || err != nil {
			t.Errorf("%q: %g, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "%", "-1", "101", "NaN", "bright", "5%%"} {
		if got, err := ParseLevel(text); err == nil {
			t.Errorf("%q is %g", text, got)
		}
	}
}

func TestParseBlock(t *testing.T) {
	if first, last, err := ParseBlock(" 40 - 59"); first != 40 || last != 59 || err != nil {
		t.Errorf("%d to %d, %v", first, last, err)
	}
	for _, text := range []string{"", "40", "59-40", "0-4", "4-x", "1-2-3"} {
		if first, last, err := ParseBlock(text); err == nil {
			t.Errorf("%q is %d to %d", text, first, last)
		}
	}
}
