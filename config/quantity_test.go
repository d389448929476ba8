package config

import (
	"math"
	"testing"
)

// The meter's check value is worked by hand: 3 % + 0.10 A is 0.21 A at 3.75 A,
// four pixels of 55 mA or six of 37.5.
func TestMeter(t *testing.T) {
	m, err := ParseMeter("3% + 0.10 A", "A")
	if err != nil || math.Abs(m.Error(3.75)-0.2125) > 1e-9 {
		t.Fatalf("%+v, %v: %v", m, err, m.Error(3.75))
	}
	for text, want := range map[string]Meter{"2%": {0.02, 0}, "0.05 V": {0, 0.05}, "0.5 % + 0.03V": {0.005, 0.03}} {
		if m, err := ParseMeter(text, text[len(text)-1:]); err != nil || math.Abs(m.Share-want.Share)+math.Abs(m.Fixed-want.Fixed) > 1e-9 {
			t.Errorf("%s: %+v, %v", text, m, err)
		}
	}
	for _, bad := range []string{"", "3", "0.1 V", "three", "-1%", "3% + 2%", "NaN", "1e400", "60%", "0 + 0", "11 A", "3% +"} {
		if m, err := ParseMeter(bad, "A"); err == nil {
			t.Errorf("%q: %+v", bad, m)
		}
	}
}
