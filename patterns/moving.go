package patterns

import "time"

// The patterns that change with time.

// every is the Next of a pattern that moves on the multiples of a step.
func every(step time.Duration) func(time.Duration) time.Duration {
	return func(t time.Duration) time.Duration {
		if t < 0 {
			return 0
		}
		return t - t%step + step
	}
}

// always is the Next of a pattern that flows.
func always(t time.Duration) time.Duration { return t + 1 }

const (
	walkStep  = 100 * time.Millisecond
	walkPause = time.Second // dark before it begins again: one pixel is no strobe
)

// walk: as many pixels light at once as the port copies or the chip drives.
func walk(dst []byte, l Layout, _ Options, t time.Duration) {
	clear(dst)
	n := l.pixels(dst)
	if l.Plain || n == 0 {
		return
	}
	if i := within(t, time.Duration(n)*walkStep+walkPause) / walkStep; int(i) < n {
		l.set(dst, int(i), white)
	}
}

func worstWalk(l Layout, _ Options) float64 {
	if l.Plain {
		return 0
	}
	return l.share(l.weight(white))
}

const slotTime = 2 * time.Second

// oneSlot sends raw slots, like colourOrder, and needs no counting of pixels.
func oneSlot(dst []byte, l Layout, o Options, t time.Duration) {
	clear(dst)
	c := l.channels()
	slot := o.Slot - 1
	if slot < 0 || slot >= c {
		slot = int(within(t, oneSlotCycle(l)) / slotTime)
	}
	for i := range l.pixels(dst) {
		dst[i*c+slot] = 255
	}
}

func oneSlotCycle(l Layout) time.Duration { return time.Duration(l.channels()) * slotTime }

func worstOneSlot(l Layout, _ Options) float64 { return l.share(float64(max(0, l.Pixels))) }

const rampUp = 2 * time.Second

// fullWhite drives every channel, the fourth included. With a count it lights
// that many pixels, evenly spread, and at full level all the same: no gamma or
// dimming error then spoils a reading of the current.
func fullWhite(dst []byte, l Layout, o Options, t time.Duration) {
	v := byte(255)
	if t < rampUp {
		v = byte(255 * max(0, t) / rampUp)
	}
	n, c := l.pixels(dst), l.channels()
	if o.Count < 1 || o.Count >= n {
		level(dst, n*c, v)
		return
	}
	clear(dst)
	for i := range n {
		if spread(i, o.Count, n) {
			level(dst[i*c:(i+1)*c], c, v)
		}
	}
}

func nextFullWhite(t time.Duration) time.Duration {
	if t < rampUp {
		return t + 1
	}
	return never(t)
}

func worstFullWhite(l Layout, o Options) float64 {
	switch {
	case l.Pixels < 1:
		return 0
	case o.Count < 1 || o.Count >= l.Pixels:
		return 1
	}
	return float64(o.Count) / float64(l.Pixels)
}

// MostBlock is the longest block of a string of n pixels: half of it. More is not a
// load to be moved, and full-white, which falls back after a while, is for that.
func MostBlock(n int) int { return max(1, n/2) }

// blockOf is the block from its first pixel, from 0, up to but not including the last.
func (o Options) blockOf(n int) (from, to int) {
	if o.First < 1 || o.Last < o.First || o.Last > n || o.Last-o.First >= MostBlock(n) {
		m := max(1, n/10)
		return (n - m) / 2, (n-m)/2 + m
	}
	return o.First - 1, o.Last
}

// block drives every channel of its pixels, and rises as full-white does.
func block(dst []byte, l Layout, o Options, t time.Duration) {
	clear(dst)
	n, c := l.pixels(dst), l.channels()
	if n == 0 {
		return
	}
	from, to := o.blockOf(n)
	fullWhite(dst[from*c:to*c], Layout{Pixels: to - from, Order: l.Order}, Options{}, t)
}

func worstBlock(l Layout, o Options) float64 {
	if l.Pixels < 1 {
		return 0
	}
	from, to := o.blockOf(l.Pixels)
	return l.share(float64((to - from) * l.channels()))
}

// spread reports whether pixel i, from 0, is lit when count of n pixels are, as
// evenly spread as can be. Exactly count of them are.
func spread(i, count, n int) bool { return (i+1)*count/n > i*count/n }

const rampSweep = 10 * time.Second // from nothing to full

func ramp(dst []byte, l Layout, _ Options, t time.Duration) {
	at := within(t, 2*rampSweep)
	if at > rampSweep {
		at = 2*rampSweep - at
	}
	level(dst, l.pixels(dst)*l.channels(), byte(255*at/rampSweep))
}

func worstRamp(l Layout, _ Options) float64 {
	if l.Pixels < 1 {
		return 0
	}
	return 1
}

const tickTime = time.Second

func tick(dst []byte, l Layout, _ Options, t time.Duration) {
	clear(dst)
	c := below
	if within(t, 2*tickTime) >= tickTime {
		c = above
	}
	l.fill(dst, 0, l.pixels(dst), c)
}

func worstTick(l Layout, _ Options) float64 {
	return l.share(float64(max(0, l.Pixels)) * max(l.weight(below), l.weight(above)))
}

// A number is blinked digit by digit, the highest first, on a beat that all
// strings share: the display as a whole never flashes faster than one string.
const (
	beat     = 700 * time.Millisecond
	beatLit  = 300 * time.Millisecond
	digitGap = 2 // dark beats between digits
	endGap   = 4 // dark beats after the last
	zeroLong = 2 // a nought is one blink that lasts this many beats longer
)

// placeColour tells digits apart: white units, blue tens, red hundreds, green
// thousands. The pauses tell them apart too, should the colour order be wrong.
func placeColour(place int) colour {
	return [...]colour{white, blue, red, green}[place%4]
}

func number(dst []byte, l Layout, _ Options, t time.Duration) {
	clear(dst)
	n := max(0, l.Number)
	at := within(t, numberCycle(l))
	for place := places(n) - 1; place >= 0; place-- {
		d := digit(n, place)
		length := time.Duration(digitBeats(d)) * beat
		if at < length {
			lit := at%beat < beatLit
			if d == 0 {
				lit = at < zeroLong*beat+beatLit
			}
			if lit {
				l.fill(dst, 0, l.pixels(dst), placeColour(place))
			}
			return
		}
		at -= length
		if at < digitGap*beat {
			return
		}
		at -= digitGap * beat
	}
}

func numberCycle(l Layout) time.Duration {
	n := max(0, l.Number)
	beats := endGap - digitGap
	for place := range places(n) {
		beats += digitBeats(digit(n, place)) + digitGap
	}
	return time.Duration(beats) * beat
}

func worstNumber(l Layout, _ Options) float64 {
	heaviest := 0.0
	for place := range places(max(0, l.Number)) {
		heaviest = max(heaviest, l.weight(placeColour(place)))
	}
	return l.share(float64(max(0, l.Pixels)) * heaviest)
}

func places(n int) int {
	count := 1
	for ; n >= 10; n /= 10 {
		count++
	}
	return count
}

func digit(n, place int) int {
	for ; place > 0; place-- {
		n /= 10
	}
	return n % 10
}

func digitBeats(d int) int {
	if d == 0 {
		return 1 + zeroLong
	}
	return d
}

// within is where a time lies in a cycle; before the start counts as the start.
func within(t, cycle time.Duration) time.Duration { return max(0, t) % cycle }

// level sets the first n slots to v and the rest to nothing.
func level(dst []byte, n int, v byte) {
	for i := range dst[:n] {
		dst[i] = v
	}
	clear(dst[n:])
}
