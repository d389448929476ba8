package camera

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// What hides a light for some chips may hide just what one slot gives beside others: all
// chips alike show next to nothing of it, and those in which it shines alone show it.
func TestAlone(t *testing.T) {
	sent := Sent{Addresses: []int{30, 31, 32}, Slots: []int{3, 3, 3}}
	d := decoder{sent: sent, templates: templates(sent.Addresses), codes: codes(sent.Addresses), words: mat.NewDense(3, chips, nil), places: []place{{}}}
	gives, unseen := [3]float64{.1, .12, .05}, 7
	for ch := range 3 {
		mean := 0.0
		row := d.words.RawRowView(ch)
		for k := range row {
			lit := 0
			for s, g := range gives {
				if d.codes[s].word>>(chips-1-k)&1 == 1 {
					row[k] += g
					lit |= 1 << s
				}
			}
			if lit > 4 {
				row[k] -= gives[2] * 1.3 // a bough, just when blue shines with others
			}
			row[k] += .002 * math.Sin(float64(17*k+5*ch))
			mean += row[k] / chips
		}
		for k := range row {
			row[k] -= mean
		}
		row[unseen] = 0 // of all three: no frame shows it
	}
	l := d.fit(0, 30, 3)
	if share := l.Response[2][0] / l.Response[0][0]; share > .2 {
		t.Errorf("by all chips alike blue is %.2f of red: this proves nothing", share)
	}
	got, noise := d.alone(0, l)
	for s, want := range gives {
		for ch := range 3 {
			if v, e := got[s][ch], noise[s][ch]; v < .7*want || v > 1.1*want || e <= 0 || e > .2*want {
				t.Errorf("slot %d gives %.3f in %d, +- %.3f, want %.3f", s, v, ch, e, want)
			}
		}
	}
}
