package patterns

import (
	"strings"
	"testing"
	"time"
)

// What a pattern says of itself must be what its frames show. Five seconds in,
// full-white has risen.
func TestProperties(t *testing.T) {
	l := Layout{Pixels: 20, Order: "RGB", Number: 12}
	for _, p := range All() {
		var got Pattern
		first := frame(p, l, Options{}, 5*time.Second)
		got.Dark, got.Load = true, true
		for at := 5 * time.Second; at < 25*time.Second; at += 100 * time.Millisecond {
			now := frame(p, l, Options{}, at)
			got.Moves = got.Moves || string(now) != string(first)
			got.Swings = got.Swings || current(now) != current(first)
			got.Dark = got.Dark && current(now) == 0
			got.Load = got.Load && current(now) == 255*255*len(now)
		}
		if got.Dark != p.Dark || got.Load != p.Load || got.Moves != p.Moves || got.Swings != p.Swings {
			t.Errorf("%s says dark %v, load %v, moves %v, swings %v; its frames say %v, %v, %v, %v",
				p.Name, p.Dark, p.Load, p.Moves, p.Swings, got.Dark, got.Load, got.Moves, got.Swings)
		}
	}
}

func TestTakes(t *testing.T) {
	l := Layout{Pixels: 20, Order: "RGB", Number: 12}
	for _, p := range All() {
		plain := frame(p, l, Options{}, 5*time.Second)
		for setting, o := range map[Setting]Options{PixelSetting: {Pixel: 3}, SlotSetting: {Slot: 2}, CountSetting: {Count: 4}, BlockSetting: {First: 3, Last: 6}} {
			if heeds := string(frame(p, l, o, 5*time.Second)) != string(plain); heeds != (p.Takes == setting) {
				t.Errorf("%s says that it takes %v; with %+v its frame changes: %v", p.Name, p.Takes, o, heeds)
			}
		}
	}
}

// A block is where it was asked for, and never more than half of the string.
func TestBlock(t *testing.T) {
	p, _ := Lookup(Block)
	l := Layout{Pixels: 20, Order: "RGBW"}
	for _, tt := range []struct {
		o    Options
		want string
	}{
		{Options{First: 3, Last: 6}, "..####.............."},
		{Options{First: 11, Last: 20}, "..........##########"},
		{Options{First: 1, Last: 1}, "#..................."},
		{Options{}, ".........##........."},
		{Options{First: 10, Last: 20}, ".........##........."}, // more than half
		{Options{First: 6, Last: 3}, ".........##........."},
		{Options{First: 15, Last: 21}, ".........##........."},
	} {
		if got := text(l, frame(p, l, tt.o, time.Minute)); got != tt.want {
			t.Errorf("%+v: %s, want %s", tt.o, got, tt.want)
		}
	}
}

// current is that of a port with a gamma of 2, which tells apart what is even at 1.
func current(slots []byte) int {
	n := 0
	for _, v := range slots {
		n += int(v) * int(v)
	}
	return n
}

// A person who counts the bright pixels of a mark knows what number it stands for,
// with any order of colours and without seeing any: marks are told from the rest by
// their relative luminance (ITU-R BT.709 primaries), at least ten to one.
func TestRulerIsReadByCount(t *testing.T) {
	p, _ := Lookup("ruler")
	for n := 0; n <= 230; n++ {
		l := Layout{Pixels: n, Order: "GRB"}
		dst := frame(p, l, Options{}, 0)
		var marks strings.Builder
		for i := range n {
			c := l.colourAt(dst, i)
			y := 0.2126*float64(c.r) + 0.7152*float64(c.g) + 0.0722*float64(c.b)
			switch {
			case y == 0:
				t.Fatalf("pixel %d of %d is dark", i+1, n)
			case y < 4:
				marks.WriteByte('.')
			case y >= 40:
				marks.WriteByte('x')
			default:
				t.Fatalf("pixel %d of %d has a luminance of %.1f, neither bright nor faint", i+1, n, y)
			}
		}
		last := 0 // number of the last mark
		for end := 1; end <= n; end++ {
			if marks.String()[end-1] != 'x' || end < n && marks.String()[end] == 'x' {
				continue
			}
			run := end - 1 - strings.LastIndexByte(marks.String()[:end], '.')
			every := map[int]int{1: 5, 2: 10, 3: 50, 4: 100}[run]
			if every == 0 || end%every != 0 || end != last+5 {
				t.Fatalf("%d pixels: %d bright ones end at %d, after the mark at %d", n, run, end, last)
			}
			for _, more := range []int{10, 50, 100} {
				if more > every && end%more == 0 {
					t.Fatalf("%d pixels: the mark at %d has %d bright ones", n, end, run)
				}
			}
			last = end
		}
		if last != n/5*5 {
			t.Fatalf("%d pixels: the last mark is at %d", n, last)
		}
	}
}
