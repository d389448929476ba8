package render

import (
	"testing"
	"time"

	"yardproof/patterns/flashtest"
)

// What strings show while they are filmed, faults included, flashes no more than WCAG 2
// success criterion 2.3.1 has it: each pixel, each string and the yard as a whole, as
// if the code were sent at full level. Two loops, so that their seam is seen too.
func TestFilmedYardDoesNotFlash(t *testing.T) {
	t.Parallel()
	scene := Small()
	scene.StringFaults, scene.RGBW, scene.Strings = true, 2, 8
	y := New(scene)
	plan, err := Plan(y.Plan)
	if err != nil {
		t.Fatal(err)
	}
	show, err := Send(plan)
	if err != nil {
		t.Fatal(err)
	}
	all := flashtest.New(scene.Strings * scene.Pixels)
	each := make([]*flashtest.Watcher, scene.Strings)
	orders, slots := make([]string, scene.Strings), make([][]byte, scene.Strings)
	for i, s := range y.Strings {
		each[i], orders[i] = flashtest.New(len(s.Pixels)), s.Pixels[0].Dies
	}
	lit := 0
	for at := time.Duration(0); at < 2*show.Loop(); at += flashtest.Frame {
		for i, s := range y.Strings {
			slots[i] = slots[i][:0]
			for _, p := range s.Pixels {
				for d := range p.Dies {
					level := byte(0)
					if d < len(p.Hears) && show.Level(p.Hears[d], at) > .5 {
						level, lit = 255, lit+1
					}
					slots[i] = append(slots[i], level)
				}
			}
			each[i].See(orders[i:i+1], slots[i:i+1])
		}
		all.See(orders, slots)
	}
	if lit == 0 {
		t.Fatal("nothing was lit")
	}
	for i, w := range append(each, all) {
		if general, red, pixel := w.Worst(); max(general, red) > flashtest.Limit {
			t.Errorf("string %d of %d and all, pixel %d: %v general and %v red flashes in a second", i+1, scene.Strings, pixel, general, red)
		}
	}
}
