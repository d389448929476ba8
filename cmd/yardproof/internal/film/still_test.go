package film

import (
	"image"
	"image/color"
	"testing"
)

// Where lights are close together no mark is lost among the others: what is to be looked
// at is as large as if it were alone, and the rings beside it are apart.
func TestStillIsLegible(t *testing.T) {
	t.Parallel()
	const first, apart, row = 100, 5, 50
	still := func(verdicts ...Verdict) *image.RGBA {
		r := &Result{Films: []Film{{}}, stills: []still{{size: image.Pt(1920, 100)}}}
		for i, v := range verdicts {
			if v != "" {
				r.Pixels = append(r.Pixels, Pixel{String: "s", Pixel: i + 1, X: float64(first + apart*i), Y: row, Verdict: v})
			}
		}
		m, err := r.Still(0, "")
		if err != nil {
			t.Fatal(err)
		}
		return m.(*image.RGBA)
	}
	count := func(m *image.RGBA, c color.RGBA) (n int) {
		for y := range m.Rect.Dy() {
			for x := range m.Rect.Dx() {
				if m.RGBAAt(x, y) == c {
					n++
				}
			}
		}
		return n
	}
	shapes := marks()
	for _, v := range []Verdict{Stuck, ColourMissing, NotSeen} {
		alone := count(still("", "", v), shapes[v].colour)
		for name, m := range map[string]*image.RGBA{
			"good ones":               still(Good, Good, v, Good, Good),
			"ones of another order":   still(ColourOrder, ColourOrder, v, ColourOrder),
			"ones of other addresses": still(OtherAddress, OtherAddress, v, OtherAddress),
		} {
			if got := count(m, shapes[v].colour); got != alone || alone < 30 {
				t.Errorf("among %s %s has %d dots of its colour, alone %d", name, v, got, alone)
			}
		}
	}
	m := still(Good, Good, Good)
	for x := first - 2; x <= first+2*apart+2; x++ {
		if y := row - 3; m.RGBAAt(x, y) == shapes[Good].colour {
			t.Errorf("rings %d apart reach %d, %d", apart, x, y)
		}
	}
	if c := m.RGBAAt(first, row); c == shapes[Good].colour {
		t.Error("a ring hides its light")
	}
	m = still(Stuck, NotSeen, Stuck) // neighbours that stand out are smaller, and still there
	if stuck, unseen := count(m, shapes[Stuck].colour), count(m, shapes[NotSeen].colour); stuck < 20 || unseen < 8 {
		t.Errorf("side by side the stuck ones have %d dots, the unseen one %d", stuck, unseen)
	}
}
