package patterns

// A colour is a level for each LED of a pixel, whatever the order of its slots.
type colour struct{ r, g, b, w byte }

const dim = 64 // a quarter: bright enough by night, easy on eyes and fuses

var (
	red   = colour{r: 255}
	green = colour{g: 255}
	blue  = colour{b: 255}
	white = colour{255, 255, 255, 255} // see pixel: three channels or the fourth
	faint = colour{b: dim * 2 / 3}
	chalk = colour{dim, dim, dim, dim} // some twenty times as bright to the eye as faint

	// The two sides of half and tick draw the same current, so that no feed gets
	// more than its share, and they differ for colour-blind eyes too.
	below = colour{b: dim}
	above = colour{r: dim * 5 / 8, g: dim * 3 / 8}
)

// pixel is the slots of one pixel: up to four are used.
type pixel [4]byte

// pixel puts a colour in the order of the slots.
func (l Layout) pixel(c colour) (p pixel) {
	if c.r == c.g && c.g == c.b && c.w != 0 && len(l.Order) == 4 {
		c.r, c.g, c.b = 0, 0, 0
	}
	for i := range min(len(l.Order), len(p)) {
		switch l.Order[i] {
		case 'R':
			p[i] = c.r
		case 'G':
			p[i] = c.g
		case 'B':
			p[i] = c.b
		case 'W':
			p[i] = c.w
		}
	}
	return p
}

// channels is how many slots a pixel has. A layout that makes no sense has one,
// and stays dark.
func (l Layout) channels() int { return max(1, min(len(l.Order), 4)) }

// pixels is how many pixels of the layout dst has room for.
func (l Layout) pixels(dst []byte) int { return max(0, min(l.Pixels, len(dst)/l.channels())) }

// set lights pixel i, counted from 0.
func (l Layout) set(dst []byte, i int, c colour) {
	p, n := l.pixel(c), l.channels()
	copy(dst[i*n:(i+1)*n], p[:n])
}

// fill lights pixels from up to but not including to.
func (l Layout) fill(dst []byte, from, to int, c colour) {
	if from >= to {
		return
	}
	n := l.channels()
	dst = dst[from*n : to*n]
	p := l.pixel(c)
	for done := copy(dst, p[:n]); done < len(dst); done *= 2 {
		copy(dst[done:], dst[:done])
	}
}

// weight is the sum of a colour's slots in this layout, in units of one full slot.
func (l Layout) weight(c colour) float64 {
	sum := 0
	for _, v := range l.pixel(c) {
		sum += int(v)
	}
	return float64(sum) / 255
}

// share turns a sum of slots, in units of one full slot, into a share of the string.
func (l Layout) share(sum float64) float64 {
	if l.Pixels < 1 {
		return 0
	}
	return min(1, sum/float64(l.Pixels*l.channels()))
}
