package yard

import (
	"math"
	"strings"

	"yardproof/config"
	"yardproof/sacn"
)

// A slot is one channel of one universe, from 0.
type slot struct {
	universe uint16
	at       int
}

func (s slot) valid() bool { return s.universe >= sacn.MinUniverse && s.universe <= sacn.MaxUniverse }

// next is the slot after s; pixel: s is a pixel's last, and with whole packing a
// pixel that does not fit begins in the next universe.
func (s slot) next(pixel, whole bool, each int) slot {
	s.at++
	if s.at >= sacn.MaxSlots || whole && pixel && s.at+each > sacn.MaxSlots {
		s.universe, s.at = s.universe+1, 0
	}
	return s
}

// A block is what a port is set to for one string.
type block struct {
	start  slot
	count  int // addresses that it reads
	nulls  int // pixels that it sends dark ahead of them
	each   int // channels that it reads for a pixel
	whole  bool
	copies int
	fold   int
	flip   bool // it counts from the far end
	from   []int
	level  [256]byte
}

// whiteOf marks an output that is derived from red, green and blue.
const whiteOf = -1

// block reads the port's settings of a string from the plan, and spoils them.
func (y *Yard) block(n int) block {
	s := y.Plan.Strings[n]
	origin := s
	if f := y.on(n, SwappedUniverses); f != nil {
		if other := y.Plan.Find(f.With); other == s {
			origin = y.Plan.Find(f.String)
		} else {
			origin = other
		}
	}
	b := block{
		start: slot{origin.Universe, origin.Channel - 1}, count: s.Pixels, nulls: s.NullPixels,
		each: s.ChannelsPerPixel(), whole: s.Controller == nil || s.Controller.Pack != config.PackContinuous,
		copies: max(s.Copies, 1), fold: s.Fold, flip: (s.Flow == config.Backward) != (y.on(n, Reversed) != nil),
	}
	if s.NullsByPlan {
		b.count, b.nulls = b.count+b.nulls, 0
	}
	if y.on(n, WrongPack) != nil {
		b.whole = !b.whole
	}
	b.start.at += int(y.severity(n, WrongStart))
	for b.start.at >= sacn.MaxSlots {
		b.start = slot{b.start.universe + 1, b.start.at - sacn.MaxSlots}
	}
	b.start.at = max(b.start.at, 0)
	b.count = max(b.count+int(y.severity(n, WrongCount)), 0)
	b.nulls = max(b.nulls+int(y.severity(n, WrongNulls)), 0)

	set := outputs(s)
	if f := y.on(n, WrongOrder); f != nil {
		set = permuted(set, int(f.Severity))
	}
	for _, letter := range set {
		at := strings.IndexRune(string(s.Order), letter)
		if at < 0 {
			at = whiteOf
		}
		b.from = append(b.from, at)
	}
	for v := range b.level {
		b.level[v] = byte(math.Round(255 * s.Brightness * math.Pow(float64(v)/255, s.Gamma)))
	}
	return b
}

// outputs are the colours that a string's pixels take, in the order of their bytes.
func outputs(s *config.String) string {
	if s.PortOrder != "" {
		return string(s.PortOrder)
	}
	return string(s.Order)
}

// permuted is the n-th other order of the same colours; white stays.
func permuted(order string, n int) string {
	a := []byte(order)
	at := make([]int, 0, 3)
	for i, l := range a {
		if l != 'W' {
			at = append(at, i)
		}
	}
	turn := [6][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}}[((n%6)+6)%6]
	out := append([]byte(nil), a...)
	for i, j := range turn {
		out[at[i]] = a[at[j]]
	}
	return string(out)
}

// append adds to a frame of the line what the port sends for this string.
func (b *block) append(dst []byte, c *controller, s look) []byte {
	width := len(b.from)
	for range b.nulls * width {
		dst = append(dst, 0)
	}
	first := len(dst)
	at := b.start
	var in [4]byte
	on, r := at.universe, c.receives[at.universe]
	for i := range b.count {
		for k := range b.each {
			if on != at.universe {
				on, r = at.universe, c.receives[at.universe]
			}
			if in[k] = 0; r != nil {
				in[k] = b.level[r.shown[at.at]]
			}
			at = at.next(k == b.each-1, b.whole, b.each)
		}
		if s != nil {
			s(in[:b.each], i)
		}
		for range b.copies {
			for _, from := range b.from {
				v := byte(0)
				if from == whiteOf {
					v = min(in[0], in[1], in[2])
				} else {
					v = in[from]
				}
				dst = append(dst, v)
			}
		}
	}
	b.turn(dst[first:], width*b.copies)
	return dst
}

// A look is what a controller shows by itself in place of what it receives.
type look func(channels []byte, pixel int)

// turn puts the pixels where a zig-zag and the direction have them.
func (b *block) turn(pixels []byte, width int) {
	reverse := func(p []byte) {
		for i, j := 0, len(p)-width; i < j; i, j = i+width, j-width {
			for k := range width {
				p[i+k], p[j+k] = p[j+k], p[i+k]
			}
		}
	}
	if b.fold > 0 {
		for row := b.fold * width; row < len(pixels); row += 2 * b.fold * width {
			reverse(pixels[row:min(row+b.fold*width, len(pixels))])
		}
	}
	if b.flip {
		reverse(pixels)
	}
}
