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

// peaksOf finds the lights of a frame, the brightest first: places brighter than
// all around them, well above the noise. Luma as it is coded will do: a place is the
// same on any rising scale, and the coded one gives weak lights their share.
func peaksOf(m *image.YCbCr) []peak {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if w < 4*border || h < 4*border {
		return nil
	}
	s := smooth(m, w, h)
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

// smooth weighs each pixel's surroundings by 1 2 1 both ways: sums of 16.
func smooth(m *image.YCbCr, w, h int) []int32 {
	s, rows := make([]int32, w*h), make([]int32, w*h)
	for y := range h {
		in, out := m.Y[y*m.YStride:y*m.YStride+w], rows[y*w:(y+1)*w]
		for x := 1; x < w-1; x++ {
			out[x] = int32(in[x-1]) + 2*int32(in[x]) + int32(in[x+1])
		}
	}
	for y := 1; y < h-1; y++ {
		a, b, c, out := rows[(y-1)*w:y*w], rows[y*w:(y+1)*w], rows[(y+1)*w:(y+2)*w], s[y*w:(y+1)*w]
		for x := range out {
			out[x] = a[x] + 2*b[x] + c[x]
		}
	}
	return s
}

// threshold is the median and six times the median deviation from it, by counting.
func threshold(s []int32) int32 {
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
	return int32(median + 6*max(deviation, 4))
}

// vertex is where the parabola through three neighbours has its top, from the middle.
func vertex(a, b, c int32) float64 {
	if d := a - 2*b + c; d < 0 {
		return max(-.5, min(.5, .5*float64(a-c)/float64(d)))
	}
	return 0
}
