package camera

import (
	"encoding/binary"
	"image"
	"image/color"
	"math"
)

// linear turns coded values into light, near enough for what is compared with itself.
func linear() (t [256]float32) {
	for v := range t {
		t[v] = float32(math.Pow(float64(v)/255, 2.2))
	}
	return t
}

// block is the side of the squares whose darkest pixel is taken for what lies behind
// the lights: it changes with headlights, lamps that flicker and exposure.
const block = 8

// sampler takes samples of frames of one size.
type sampler struct {
	linear [256]float32
	places []place
}

// value is a place in one frame: red, green, blue, and the light of its surroundings.
type value [4]float32

// ring is how far from a place its surroundings are, in pixels.
const ring = 4

// sample is the mean of 3 by 3 pixels about each place, less what lies behind.
func (s *sampler) sample(m *image.YCbCr, at motion) []value {
	out := make([]value, len(s.places))
	back := s.behind(m)
	w, h := m.Rect.Dx(), m.Rect.Dy()
	for i, l := range s.places {
		x, y := at.apply(l.x, l.y)
		cx, cy := int(math.Round(x)), int(math.Round(y))
		var sum [3]float32
		for dx := -1; dx <= 1; dx++ {
			for dy := -1; dy <= 1; dy++ {
				v := s.at(m, max(0, min(w-1, cx+dx)), max(0, min(h-1, cy+dy)))
				for c := range sum {
					sum[c] += v[c] / 9
				}
			}
		}
		b := back.at(cx, cy)
		for c := range sum {
			out[i][c] = max(0, sum[c]-b[c])
		}
		for _, d := range [...][2]int{{ring, 0}, {-ring, 0}, {0, ring}, {0, -ring}, {3, 3}, {3, -3}, {-3, 3}, {-3, -3}} {
			v := s.at(m, max(0, min(w-1, cx+d[0])), max(0, min(h-1, cy+d[1])))
			for c := range b {
				out[i][3] += max(0, v[c]-b[c]) / 8
			}
		}
	}
	return out
}

func (s *sampler) at(m *image.YCbCr, x, y int) [3]float32 {
	x, y = m.Rect.Min.X+x, m.Rect.Min.Y+y
	luma, chroma := m.YOffset(x, y), m.COffset(x, y)
	r, g, b := color.YCbCrToRGB(m.Y[luma], m.Cb[chroma], m.Cr[chroma])
	return [3]float32{s.linear[r], s.linear[g], s.linear[b]}
}

// floor is the light behind, a value a block.
type floor struct {
	w, h   int
	values [][3]float32
}

func (s *sampler) behind(m *image.YCbCr) floor {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	f := floor{w: (w + block - 1) / block, h: (h + block - 1) / block}
	darkest := make([][3]float32, f.w*f.h)
	for by := range f.h {
		for bx := range f.w {
			least, px, py := 256, 0, 0
			for y := by * block; y < min(h, (by+1)*block); y++ {
				row := m.Y[y*m.YStride+bx*block : y*m.YStride+min(w, (bx+1)*block)]
				if len(row) == block && !darker(row, least) {
					continue
				}
				for x, v := range row {
					if int(v) < least {
						least, px, py = int(v), bx*block+x, y
					}
				}
			}
			darkest[by*f.w+bx] = s.at(m, px, py)
		}
	}
	f.values = make([][3]float32, len(darkest))
	for y := range f.h {
		for x := range f.w {
			var sum [3]float32
			n := float32(0)
			for j := max(0, y-1); j <= min(f.h-1, y+1); j++ {
				for i := max(0, x-1); i <= min(f.w-1, x+1); i++ {
					for c, v := range darkest[j*f.w+i] {
						sum[c] += v
					}
					n++
				}
			}
			for c := range sum {
				f.values[y*f.w+x][c] = sum[c] / n
			}
		}
	}
	return f
}

// darker reports whether one of eight values may be below a bound. All at once: one that
// is below borrows, and its highest bit is set by that alone.
func darker(eight []uint8, bound int) bool {
	const each, high = 0x0101010101010101, 0x8080808080808080
	v := binary.LittleEndian.Uint64(eight)
	return bound > 128 || (v-each*uint64(bound))&^v&high != 0
}

func (f floor) at(x, y int) [3]float32 {
	return f.values[max(0, min(f.h-1, y/block))*f.w+max(0, min(f.w-1, x/block))]
}
