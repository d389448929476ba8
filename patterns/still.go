package patterns

import (
	"math"
	"time"
)

// The patterns that do not move.

// never is the Next of a pattern that does not move.
func never(time.Duration) time.Duration { return math.MaxInt64 }

func dark(dst []byte, _ Layout, _ Options, _ time.Duration) { clear(dst) }

func worstDark(Layout, Options) float64 { return 0 }

// The runs of colour-order: slot k, from 0, lights runShortest+k pixels. No two
// runs have one length, and none has one pixel, so that a run cut short by a
// hidden or dead pixel cannot pass for another slot's unseen.
const (
	runShortest = 2
	runGap      = 1 // dark between runs
	runPause    = 5 // dark after the last
)

// colourOrder sends raw slots: the plan's order is what is in doubt. A run that
// the string's end would cut short is left out.
func colourOrder(dst []byte, l Layout, _ Options, _ time.Duration) {
	clear(dst)
	n, c := l.pixels(dst), l.channels()
	for at := 0; at < n; {
		for slot := range c {
			run := runShortest + slot
			if at+run > n {
				return
			}
			for i := at; i < at+run; i++ {
				dst[i*c+slot] = 255
			}
			at += run + runGap
		}
		at += runPause - runGap
	}
}

func worstColourOrder(l Layout, _ Options) float64 {
	lit := 0
	for at := 0; at < l.Pixels; {
		for slot := range l.channels() {
			run := runShortest + slot
			if at+run > l.Pixels {
				return l.share(float64(lit))
			}
			lit += run
			at += run + runGap
		}
		at += runPause - runGap
	}
	return l.share(float64(lit))
}

const (
	endWhites   = 3
	endsMinimum = 2*(1+endWhites) + 1 // under it the whites would meet
)

// ends: too low a count in the plan leaves dark pixels past the red one: count
// them. Too high a count hides the red one, and the whites left at the end tell
// by how many: three whites mean one, two mean two, one means three. The same
// holds for null pixels and the green one at the other end. A string of one pixel
// is both ends: it is yellow.
func ends(dst []byte, l Layout, _ Options, _ time.Duration) {
	clear(dst)
	n := l.pixels(dst)
	if l.Plain || n == 0 {
		return
	}
	l.fill(dst, 0, n, faint)
	if n >= endsMinimum {
		l.fill(dst, 1, 1+endWhites, white)
		l.fill(dst, n-1-endWhites, n-1, white)
	}
	l.set(dst, 0, green)
	l.set(dst, n-1, red)
	if n == 1 {
		l.set(dst, 0, colour{r: 255, g: 255})
	}
}

func worstEnds(l Layout, _ Options) float64 {
	switch {
	case l.Plain || l.Pixels < 1:
		return 0
	case l.Pixels == 1:
		return l.share(2)
	case l.Pixels < endsMinimum:
		return l.share(2 + float64(l.Pixels-2)*l.weight(faint))
	}
	whites := 2.0 * endWhites
	return l.share(2 + whites*l.weight(white) + (float64(l.Pixels)-2-whites)*l.weight(faint))
}

// rulerMark is how many pixels mark a number, the last of them at the number: one
// at each five, two at each ten, three at each fifty, four at each hundred. A count
// is read by eyes that see no red, and under any colour order.
func rulerMark(number int) int {
	switch {
	case number%100 == 0:
		return 4
	case number%50 == 0:
		return 3
	case number%10 == 0:
		return 2
	}
	return 1
}

func ruler(dst []byte, l Layout, _ Options, _ time.Duration) {
	clear(dst)
	n := l.pixels(dst)
	l.fill(dst, 0, n, faint)
	for number := 5; number <= n; number += 5 {
		l.fill(dst, number-rulerMark(number), number, chalk)
	}
}

func worstRuler(l Layout, _ Options) float64 {
	marked := 0
	for number := 5; number <= l.Pixels; number += 5 {
		marked += rulerMark(number)
	}
	return l.share(float64(marked)*l.weight(chalk) + float64(max(0, l.Pixels)-marked)*l.weight(faint))
}

func half(dst []byte, l Layout, o Options, _ time.Duration) {
	clear(dst)
	n := l.pixels(dst)
	if l.Plain || n == 0 {
		return
	}
	p := o.Pixel
	if p < 1 || p > n {
		p = (n + 1) / 2
	}
	l.fill(dst, 0, p-1, below)
	l.set(dst, p-1, white)
	l.fill(dst, p, n, above)
}

func worstHalf(l Layout, _ Options) float64 {
	if l.Plain || l.Pixels < 1 {
		return 0
	}
	return l.share(l.weight(white) + float64(l.Pixels-1)*max(l.weight(below), l.weight(above)))
}
