package patterns

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// layouts are strings of every kind that has an edge somewhere.
func layouts() []Layout {
	var ls []Layout
	for _, order := range []string{"RGB", "GRB", "RGBW", "WRGB"} {
		for _, n := range []int{0, 1, 2, 3, 5, 8, 9, 10, 11, 16, 17, 22, 50, 100, 171} {
			ls = append(ls, Layout{Pixels: n, Order: order, Number: 20 + n})
		}
	}
	return append(ls,
		Layout{Pixels: 1, Order: "RGB", Number: 3, Plain: true},
		Layout{Pixels: 50, Order: "RGB", Number: 8},
		Layout{Pixels: 50, Order: "RGB", Number: 100},
		Layout{Pixels: 50, Order: "RGBW", Number: 1909},
		Layout{Pixels: 50, Order: "RGB"},
		Layout{Pixels: 600, Order: "GRB", Number: 77},
		Layout{Pixels: 2, Order: "GRB", Number: 78, Runs: []Run{{0, 3, 510}, {3, 1, 70000}, {4, 2, 262143}}})
}

func settings() []Options {
	return []Options{{}, {Pixel: 1, Slot: 1, Count: 1}, {Pixel: 7, Slot: 3, Count: 7},
		{Pixel: 50, Slot: 4, Count: 49}, {Pixel: 1e6, Slot: 9, Count: 1e6}, {Pixel: -1, Slot: -1, Count: -1}}
}

func frame(p Pattern, l Layout, o Options, t time.Duration) []byte {
	dst := bytes.Repeat([]byte{0xaa}, max(0, l.Pixels)*l.channels()) // a frame owes nothing to what was there
	p.Frame(dst, l, o, t)
	return dst
}

// text is a frame as one letter a pixel: upper case for bright, lower for dim, a
// dot for dark, Y for red with green, W for white, # for white with the fourth LED.
func text(l Layout, dst []byte) string {
	var b strings.Builder
	for i := range l.pixels(dst) {
		c := l.colourAt(dst, i)
		lit := ""
		for _, x := range []struct {
			v byte
			s string
		}{{c.r, "R"}, {c.g, "G"}, {c.b, "B"}, {c.w, "W"}} {
			if x.v > 0 {
				lit += x.s
			}
		}
		letter, ok := map[string]string{"": ".", "RG": "Y", "RGB": "W", "RGBW": "#", "R": "R", "G": "G", "B": "B", "W": "W"}[lit]
		if !ok {
			letter = "?"
		}
		if max(c.r, c.g, c.b, c.w) < 128 {
			letter = strings.ToLower(letter)
		}
		b.WriteString(letter)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	dir := filepath.Join("..", "testdata", "patterns")
	ls := []Layout{
		{Pixels: 1, Order: "RGB", Number: 1},
		{Pixels: 10, Order: "RGB", Number: 7},
		{Pixels: 50, Order: "RGB", Number: 23},
		{Pixels: 60, Order: "RGBW", Number: 105},
		{Pixels: 1, Order: "RGB", Number: 4, Plain: true},
	}
	for _, p := range All() {
		t.Run(p.Name, func(t *testing.T) {
			var b strings.Builder
			fmt.Fprintf(&b, "# %s: %s.\n# One letter a pixel: . dark, lower case dim, Y red with green, W white, # all four LEDs.\n", p.Name, p.Does)
			for _, l := range ls {
				kind := ""
				if l.Plain {
					kind = ", plain"
				}
				fmt.Fprintf(&b, "\n%d pixels %s, number %d%s, worst %.4f of full white\n", l.Pixels, l.Order, l.Number, kind, p.Worst(l, Options{}))
				still, changes := "", 0
				for at := time.Duration(0); at <= 24*time.Second && changes < 16; at += 25 * time.Millisecond {
					if now := text(l, frame(p, l, Options{}, at)); now != still {
						fmt.Fprintf(&b, "%7.3f %s\n", at.Seconds(), now)
						still = now
						changes++
					}
				}
			}
			sacntest.Golden(t, filepath.Join(dir, p.Name+".txt"), b.String())
			picture := Picture(p, Layout{Pixels: 50, Order: "RGB", Number: 23})
			sacntest.Golden(t, filepath.Join(dir, p.Name+".svg"), string(picture))
		})
	}
}

// orders returns every order of the letters.
func orders(letters string) []string {
	if len(letters) < 2 {
		return []string{letters}
	}
	var all []string
	for i := range letters {
		for _, rest := range orders(letters[:i] + letters[i+1:]) {
			all = append(all, letters[i:i+1]+rest)
		}
	}
	return all
}

// Every order shows the same colours, but for the patterns that prove the
// order: they send the same slots whatever the plan says.
func TestEveryOrder(t *testing.T) {
	for _, letters := range []string{"RGB", "RGBW"} {
		all := orders(letters)
		if want := map[string]int{"RGB": 6, "RGBW": 24}[letters]; len(all) != want {
			t.Fatalf("%d orders of %s, want %d", len(all), letters, want)
		}
		for _, p := range All() {
			raw := p.Name == "colour-order" || p.Name == "one-slot" || p.Name == Code
			for _, order := range all {
				for at := time.Duration(0); at < 12*time.Second; at += 175 * time.Millisecond {
					base, l := Layout{Pixels: 60, Order: letters, Number: 41}, Layout{Pixels: 60, Order: order, Number: 41}
					want, got := frame(p, base, Options{}, at), frame(p, l, Options{}, at)
					for i := range 60 {
						for k := range len(letters) {
							from := k
							if !raw {
								from = strings.IndexByte(letters, order[k])
							}
							if got[i*len(letters)+k] != want[i*len(letters)+from] {
								t.Fatalf("%s, order %s, at %v, pixel %d, slot %d: %d, want %d", p.Name, order, at, i+1, k+1,
									got[i*len(letters)+k], want[i*len(letters)+from])
							}
						}
					}
				}
			}
		}
	}
}

// No frame is heavier than Worst says, and some frame reaches it.
func TestWorst(t *testing.T) {
	for _, p := range All() {
		for _, l := range layouts() {
			for _, o := range settings() {
				heaviest := 0.0
				for at := time.Duration(0); at < 23*time.Second; at += 200 * time.Millisecond {
					sum := 0
					dst := frame(p, l, o, at)
					for _, v := range dst {
						sum += int(v)
					}
					if len(dst) > 0 {
						heaviest = max(heaviest, float64(sum)/float64(255*len(dst)))
					}
				}
				if worst := p.Worst(l, o); math.Abs(worst-heaviest) > 1e-9 || worst > 1 {
					t.Errorf("%s, %+v, %+v: the heaviest frame is %v, Worst says %v", p.Name, l, o, heaviest, worst)
				}
			}
		}
	}
}

// Between a time and its Next nothing may change.
func TestNext(t *testing.T) {
	ls := []Layout{{Pixels: 50, Order: "RGB", Number: 100}, {Pixels: 7, Order: "RGBW", Number: 12}, {Pixels: 1, Order: "RGB", Plain: true}}
	for _, p := range All() {
		for _, l := range ls {
			for _, o := range settings() {
				for at := time.Duration(-25 * time.Millisecond); at < 12*time.Second; {
					next := p.Next(at)
					if next <= at {
						t.Fatalf("%s: after %v comes %v", p.Name, at, next)
					}
					last := min(next-1, at+time.Minute)
					if !bytes.Equal(frame(p, l, o, at), frame(p, l, o, last)) || !bytes.Equal(frame(p, l, o, at), frame(p, l, o, at+(last-at)/2)) {
						t.Fatalf("%s, %+v, %+v: the frames at %v and %v differ, and Next says %v", p.Name, l, o, at, last, next)
					}
					at = max(last, at+20*time.Millisecond)
				}
			}
		}
	}
}

func TestLookup(t *testing.T) {
	var names []string
	for _, p := range All() {
		names = append(names, p.Name)
		if q, ok := Lookup(p.Name); !ok || q.Name != p.Name {
			t.Errorf("Lookup(%q) found %q, %v", p.Name, q.Name, ok)
		}
	}
	want := "dark number one-slot colour-order ends walk ruler half tick full-white block ramp code"
	if got := strings.Join(names, " "); got != want {
		t.Errorf("patterns are %s, want %s", got, want)
	}
	if _, ok := Lookup("snow"); ok {
		t.Error(`Lookup("snow") found something`)
	}
}

// What colour-order shows is the deduction's ground: the lengths of runs.
func TestColourOrderRuns(t *testing.T) {
	for _, tt := range []struct {
		l    Layout
		want string
	}{
		{Layout{Pixels: 50, Order: "RGB"}, "RR.GGG.BBBB.....RR.GGG.BBBB.....RR.GGG.BBBB.....RR"},
		{Layout{Pixels: 51, Order: "RGB"}, "RR.GGG.BBBB.....RR.GGG.BBBB.....RR.GGG.BBBB.....RR."},
		{Layout{Pixels: 52, Order: "RGB"}, "RR.GGG.BBBB.....RR.GGG.BBBB.....RR.GGG.BBBB.....RR.."}, // two of a three would read as a two
		{Layout{Pixels: 10, Order: "RGB"}, "RR.GGG...."},
		{Layout{Pixels: 45, Order: "RGBW"}, "RR.GGG.BBBB.WWWWW.....RR.GGG.BBBB.WWWWW......"},
		{Layout{Pixels: 16, Order: "GRB"}, "GG.RRR.BBBB....."},
		{Layout{Pixels: 1, Order: "RGB"}, "."},
	} {
		p, _ := Lookup("colour-order")
		if got := text(tt.l, frame(p, tt.l, Options{}, 0)); got != tt.want {
			t.Errorf("%+v:\n got %s\nwant %s", tt.l, got, tt.want)
		}
	}
}

// A person counts the blinks back to the number; here a few lines of code do.
func TestNumberCanBeCounted(t *testing.T) {
	p, _ := Lookup("number")
	for _, n := range []int{0, 1, 2, 9, 10, 19, 23, 50, 99, 100, 105, 640, 999, 1000, 6402} {
		l := Layout{Pixels: 3, Order: "RGB", Number: n}
		var blinks []int // lengths of light in frames, negative for dark
		lit, run := false, 0
		end := 80 * time.Second
		for at := time.Duration(0); at < end; at += 25 * time.Millisecond {
			now := text(l, frame(p, l, Options{}, at)) != "..."
			if now == lit {
				run++
				continue
			}
			if lit {
				blinks = append(blinks, run)
			} else if run > 0 {
				blinks = append(blinks, -run)
			}
			lit, run = now, 1
		}
		got, count, digits := 0, 0, 0
		for _, b := range blinks {
			switch {
			case b > 40: // a long blink is a nought
			case b > 0:
				count++
			case b < -100: // the long dark: the number is complete
				got, digits = got*10+count, digits+1
			case b < -40: // the pause between digits
				got, count, digits = got*10+count, 0, digits+1
			}
			if b < -100 {
				break
			}
		}
		if got != n || digits != len(fmt.Sprint(n)) {
			t.Errorf("number %d counts as %d with %d digits", n, got, digits)
		}
	}
}

func TestFullWhiteByCount(t *testing.T) {
	p, _ := Lookup("full-white")
	for n := 1; n <= 60; n++ {
		l := Layout{Pixels: n, Order: "RGB"}
		for count := 1; count <= n; count++ {
			s := text(l, frame(p, l, Options{Count: count}, time.Minute))
			if got := strings.Count(s, "W"); got != count {
				t.Fatalf("%d of %d: %d are lit", count, n, got)
			}
			// Evenly: no stretch of the string is further than one pixel from its share.
			lit := 0
			for i, c := range s {
				if c == 'W' {
					lit++
				}
				if share := float64((i+1)*count) / float64(n); math.Abs(float64(lit)-share) >= 1 {
					t.Fatalf("%d of %d: %d lit up to pixel %d", count, n, lit, i+1)
				}
			}
		}
	}
}

func TestFullWhiteRampsUp(t *testing.T) {
	p, _ := Lookup("full-white")
	l := Layout{Pixels: 2, Order: "RGBW"}
	before := byte(0)
	for at := time.Duration(0); at <= 3*time.Second; at += 25 * time.Millisecond {
		v := frame(p, l, Options{}, at)[0]
		if v < before || v-before > 4 {
			t.Fatalf("at %v the level goes from %d to %d", at, before, v)
		}
		if want := at >= 2*time.Second; (v == 255) != want {
			t.Fatalf("at %v the level is %d", at, v)
		}
		before = v
	}
}

func TestAllocNothing(t *testing.T) {
	for _, p := range All() {
		l := Layout{Pixels: 170, Order: "GRB", Number: 105}
		dst := make([]byte, 510)
		at := time.Duration(0)
		if n := testing.AllocsPerRun(200, func() { p.Frame(dst, l, Options{}, at); at += 25 * time.Millisecond }); n != 0 {
			t.Errorf("%s allocates %v times a frame", p.Name, n)
		}
	}
}

func FuzzFrame(f *testing.F) {
	f.Add(50, "RGB", 23, false, 7, 1, 3, int64(time.Second), 150)
	f.Add(-1, "", -5, true, -1, -1, -1, int64(-1), 0)
	f.Add(3, "RGBWXYZ", 99, false, 9, 9, 9, int64(math.MaxInt64), 7)
	f.Fuzz(func(t *testing.T, pixels int, order string, number int, plain bool, pixel, slot, count int, at int64, size int) {
		pixels, size = pixels%2000, min(max(size, 0), 8000)
		l, o := Layout{Pixels: pixels, Order: order, Number: number, Plain: plain}, Options{Pixel: pixel, Slot: slot, Count: count, First: pixel, Last: count}
		for _, p := range All() {
			a, b := bytes.Repeat([]byte{1}, size), bytes.Repeat([]byte{2}, size)
			p.Frame(a, l, o, time.Duration(at))
			p.Frame(b, l, o, time.Duration(at))
			if !bytes.Equal(a, b) {
				t.Fatalf("%s leaves something of what was there before", p.Name)
			}
			if w := p.Worst(l, o); !(w >= 0 && w <= 1) {
				t.Fatalf("%s: worst %v", p.Name, w)
			}
			Picture(p, l)
		}
	})
}

func BenchmarkFrame(b *testing.B) {
	for _, p := range All() {
		b.Run(p.Name, func(b *testing.B) {
			l := Layout{Pixels: 170, Order: "GRB", Number: 105}
			dst := make([]byte, 510)
			b.SetBytes(510)
			for i := 0; b.Loop(); i++ {
				p.Frame(dst, l, Options{}, time.Duration(i)*25*time.Millisecond)
			}
		})
	}
}
