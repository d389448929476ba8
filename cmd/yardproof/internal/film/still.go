package film

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
)

// mark is how a verdict is drawn: by shape as well as by colour.
type mark struct {
	colour color.RGBA
	shape  func(x, y float64) bool // within a square of -1 to 1
}

func marks() map[Verdict]mark {
	ring := func(x, y float64) bool { r := math.Hypot(x, y); return r < 1 && r > .7 }
	return map[Verdict]mark{
		Good:          {color.RGBA{0, 200, 120, 255}, ring},
		ColourMissing: {color.RGBA{255, 190, 0, 255}, func(x, y float64) bool { return y < .8 && y > 2*math.Abs(x)-.9 && (y > .5 || y < 2*math.Abs(x)-.3) }},
		ColourOrder:   {color.RGBA{255, 140, 60, 255}, func(x, y float64) bool { m := max(math.Abs(x), math.Abs(y)); return m < .9 && m > .6 }},
		OtherAddress:  {color.RGBA{255, 90, 220, 255}, func(x, y float64) bool { m := math.Abs(x) + math.Abs(y); return m < 1 && m > .65 }},
		Stuck: {color.RGBA{255, 60, 60, 255}, func(x, y float64) bool {
			return min(math.Abs(x), math.Abs(y)) < .2 && max(math.Abs(x), math.Abs(y)) < 1
		}},
		NotSeen: {color.RGBA{170, 190, 255, 255}, func(x, y float64) bool { return math.Abs(math.Abs(x)-math.Abs(y)) < .25 && math.Abs(x) < .85 }},
	}
}

// Still is the picture of a film, by its index in Films, with every pixel whose
// place is known marked: a ring is good, a cross was not seen, a plus is stuck, a
// triangle lacks a colour, a square has another order, a diamond another address.
func (r *Result) Still(film int) (image.Image, error) {
	if film < 0 || film >= len(r.stills) {
		return nil, fmt.Errorf("there is no film %d", film+1)
	}
	src, err := jpeg.Decode(bytes.NewReader(r.stills[film].jpeg))
	if err != nil {
		return nil, fmt.Errorf("the picture to mark: %w", err)
	}
	m := image.NewRGBA(src.Bounds())
	draw.Draw(m, m.Bounds(), src, src.Bounds().Min, draw.Src)
	size := max(4, float64(max(m.Rect.Dx(), m.Rect.Dy()))/240)
	shapes := marks()
	for _, p := range r.Pixels {
		if p.Film == film && (p.X != 0 || p.Y != 0) {
			shapes[p.Verdict].draw(m, p.X, p.Y, size)
		}
	}
	return m, nil
}

func (k mark) draw(m *image.RGBA, x, y, size float64) {
	reach := int(size) + 1
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			at := image.Pt(int(math.Round(x))+dx, int(math.Round(y))+dy)
			if at.In(m.Rect) && k.shape((float64(at.X)-x)/size, (float64(at.Y)-y)/size) {
				m.SetRGBA(at.X, at.Y, k.colour)
			}
		}
	}
}
