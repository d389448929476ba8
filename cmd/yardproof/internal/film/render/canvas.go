package render

import "math"

// canvas is a picture of linear light.
type canvas struct {
	w, h int
	v    []float32
}

// widest is the largest reach of a spot, in pixels.
const widest = 150

// spot adds a round light.
//
//go:norace
func (l *canvas) spot(x, y, sigma float64, c [3]float64) {
	r := min(widest, int(math.Ceil(3*sigma)))
	cx, cy := int(math.Round(x)), int(math.Round(y))
	x0, x1 := max(0, cx-r), min(l.w-1, cx+r)
	y0, y1 := max(0, cy-r), min(l.h-1, cy+r)
	if x0 > x1 || y0 > y1 {
		return
	}
	var across, down [2*widest + 1]float32
	bell(across[:x1-x0+1], float64(x0)-x, sigma)
	bell(down[:y1-y0+1], float64(y0)-y, sigma)
	red, green, blue := float32(c[0]), float32(c[1]), float32(c[2])
	for j, g := range down[:y1-y0+1] {
		row := l.v[((y0+j)*l.w+x0)*3:][:3*(x1-x0+1)]
		r, gr, b := g*red, g*green, g*blue
		for i, g := range across[:x1-x0+1] {
			px := row[3*i:][:3]
			px[0] += g * r
			px[1] += g * gr
			px[2] += g * b
		}
	}
}

// bell is a Gaussian at d, d+1, d+2 and so on: the ratio of two values that follow each
// other changes by the same factor each time.
//
//go:norace
func bell(out []float32, d, sigma float64) {
	s := 1 / (sigma * sigma)
	v, ratio, change := math.Exp(-d*d*s/2), math.Exp(-(2*d+1)*s/2), math.Exp(-s)
	for i := range out {
		out[i] = float32(v)
		v *= ratio
		ratio *= change
	}
}
