package camera

import (
	"cmp"
	"image"
	"slices"
)

// peak is a point of light in one frame.
type peak struct{ x, y, height float64 }

const (
	maxPeaks = 12000 // of one frame
	border   = 3     // pixels at the edge that are not looked at
)

// finder finds the lights of one frame after the other, of one goroutine.
type finder struct {
	w, h int
	sums []uint16 // of the frame that is looked at
}

// peaks finds the lights of a frame, the brightest first: places brighter than
// all around them, well above the noise. Luma as it is coded will do: a place is the
// same on any rising scale, and the coded one gives weak lights their share.
func (f *finder) peaks(m *image.YCbCr) []peak {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if w < 4*border || h < 4*border {
		return nil
	}
	s := f.smooth(m)
	floor := threshold(s)
	var found []peak
	for y := border; y < h-border; y++ {
		row := s[y*w : (y+1)*w]
		for x := border; x < w-border; x++ {
			v := row[x]
			if v < floor || v < row[x-1] || v <= row[x+1] {
				continue
			}
			up, down := s[(y-1)*w:y*w], s[(y+1)*w:(y+2)*w]
			if v < up[x-1] || v < up[x] || v < up[x+1] || v <= down[x-1] || v <= down[x] || v <= down[x+1] {
				continue
			}
			found = append(found, peak{
				float64(x) + vertex(row[x-1], v, row[x+1]),
				float64(y) + vertex(up[x], v, down[x]), float64(v)})
		}
	}
	slices.SortFunc(found, func(a, b peak) int { return cmp.Compare(b.height, a.height) })
	return found[:min(len(found), maxPeaks)]
}

// smooth weighs each pixel's surroundings by 1 2 1 both ways: sums of 16, and 0 at the
// edge. They are good until it is called again.
func (f *finder) smooth(m *image.YCbCr) []uint16 {
	if w, h := m.Rect.Dx(), m.Rect.Dy(); w != f.w || h != f.h {
		*f = finder{w, h, make([]uint16, w*h)}
	}
	for y := 1; y < f.h-1; y++ {
		row := func(y int) []uint8 { return m.Y[y*m.YStride:][:f.w] }
		up, at, down, out := row(y-1), row(y), row(y+1), f.sums[y*f.w:][:f.w]
		down3 := func(x int) uint16 { return uint16(up[x]) + 2*uint16(at[x]) + uint16(down[x]) }
		before, here := down3(0), down3(1)
		for x := 1; x < len(out)-1; x++ {
			after := down3(x + 1)
			out[x] = before + 2*here + after
			before, here = here, after
		}
	}
	return f.sums
}

// threshold is the median and six times the median deviation from it, by counting.
func threshold(s []uint16) uint16 {
	var count [255*16 + 1]int
	total := 0
	for i := 0; i < len(s); i += 7 {
		count[s[i]]++
		total++
	}
	middle := func(n func(k int) int) int {
		for k, sum := 0, 0; ; k++ {
			if sum += n(k); sum*2 >= total || k == len(count)-1 {
				return k
			}
		}
	}
	median := middle(func(k int) int { return count[k] })
	deviation := middle(func(k int) int {
		n := 0
		if median-k >= 0 {
			n += count[median-k]
		}
		if k > 0 && median+k < len(count) {
			n += count[median+k]
		}
		return n
	})
	return uint16(median + 6*max(deviation, 4))
}

// vertex is where the parabola through three neighbours has its top, from the middle.
func vertex(a, b, c uint16) float64 {
	if d := int32(a) - 2*int32(b) + int32(c); d < 0 {
		return max(-.5, min(.5, .5*float64(int32(a)-int32(c))/float64(d)))
	}
	return 0
}
