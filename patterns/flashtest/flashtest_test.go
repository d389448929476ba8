package flashtest

import "testing"

// The counter must be able to fail: full on and off at a given rate.
func TestWorst(t *testing.T) {
	for _, tt := range []struct {
		name   string
		frames int // for on and for off
		pixel  []byte
		over   bool
	}{
		{"20 a second", 1, []byte{255, 255, 255}, true},
		{"4 a second", 5, []byte{255, 255, 255}, true},
		{"3.3 a second", 6, []byte{255, 255, 255}, true},
		{"2.9 a second", 7, []byte{255, 255, 255}, false},
		{"2 a second", 10, []byte{255, 255, 255}, false},
		{"10 a second, red", 2, []byte{255, 0, 0}, true},
		{"10 a second, dim red: only the red rule counts it", 2, []byte{60, 0, 0}, true},
		{"10 a second, dim blue: neither does", 2, []byte{0, 0, 255}, false},
	} {
		w := New(2)
		for i := range 400 {
			slots := make([]byte, 6)
			if i/tt.frames%2 == 1 {
				copy(slots, tt.pixel)
			}
			w.See([]string{"RGB"}, [][]byte{slots})
		}
		general, red, pixel := w.Worst()
		if over := max(general, red) > Limit; over != tt.over {
			t.Errorf("%s: %v general, %v red flashes a second", tt.name, general, red)
		}
		if max(general, red) > 0 && pixel != 1 {
			t.Errorf("%s: the worst pixel is %d, want 1", tt.name, pixel)
		}
	}
	// Ten small steps up and ten down are one flash.
	w := New(1)
	for i := range 800 {
		v := byte(i % 40 * 10)
		if i%40 >= 20 {
			v = byte((39 - i%40) * 10)
		}
		w.See([]string{"GRB"}, [][]byte{{v, v, v}})
	}
	if general, _, _ := w.Worst(); general != 1 && general != 1.5 {
		t.Errorf("one slow flash a second counts as %v", general)
	}
	// Two halves in turn leave the whole alike, yet each pixel flashes.
	w = New(2)
	for i := range 80 {
		w.See([]string{"RGB", "RGB"}, [][]byte{{byte(i % 2 * 255), 0, 0}, {byte((i + 1) % 2 * 255), 0, 0}})
	}
	if _, red, pixel := w.Worst(); red <= Limit || pixel != 1 {
		t.Errorf("halves in turn: %v at pixel %d", red, pixel)
	}
}
