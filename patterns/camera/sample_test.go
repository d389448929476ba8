package camera

import (
	"image"
	"image/color"
	"math"
	"testing"
)

// A point has nothing around it, though its neighbour is lit as close as a film tells
// two apart; a window has.
func TestAround(t *testing.T) {
	t.Parallel()
	m := image.NewYCbCr(image.Rect(0, 0, 160, 48), image.YCbCrSubsampleRatio444)
	light := make([]float64, 160*48)
	for y := range 48 {
		for x := range 160 {
			for _, at := range [][2]float64{{20, 24}, {60, 24}, {65, 24}, {70, 20}} {
				light[y*160+x] += .8 * math.Exp(-(math.Pow(float64(x)-at[0], 2)+math.Pow(float64(y)-at[1], 2))/2/.9/.9)
			}
			if x >= 105 && x < 114 && y >= 18 && y < 31 || x >= 140 && y < 24 {
				light[y*160+x] = .8
			}
		}
	}
	for i, v := range light {
		c := uint8(math.Round(255 * math.Pow(min(1, v), 1/2.2)))
		yy, cb, cr := color.RGBToYCbCr(c, c, c)
		m.Y[i], m.Cb[i], m.Cr[i] = yy, cb, cr
	}
	s := sampler{linear: linear()}
	points := [][2]float64{{20, 24}, {60, 24}, {65, 24}, {70, 20}}
	wide := [][2]float64{{109, 24}, {106, 24}, {109, 19}, {150, 12}, {150, 22}}
	for _, p := range append(points, wide...) {
		s.places = append(s.places, place{x: p[0], y: p[1]})
	}
	for i, v := range s.sample(m, motion{}) {
		of := v[3] / (v[0] + v[1] + v[2])
		if p := s.places[i]; i < len(points) && of > .06 || i >= len(points) && of < .2 {
			t.Errorf("at %v, %v the light around is %.2f of what is there", p.x, p.y, of)
		}
	}
}
