package film

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"

	"yardproof/patterns/camera"
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
// triangle lacks a colour, a square has another order, a diamond another address. With
// the name of a string only its pixels have these marks, and all others are dots. Where no
// picture is kept the marks are on black.
func (r *Result) Still(film int, name string) (image.Image, error) {
	if film < 0 || film >= len(r.stills) {
		return nil, fmt.Errorf("there is no film %d", film+1)
	}
	m, err := r.stills[film].picture()
	if err != nil {
		return nil, err
	}
	size := max(4, float64(max(m.Rect.Dx(), m.Rect.Dy()))/240)
	shapes := marks()
	others := mark{color.RGBA{120, 120, 120, 255}, func(x, y float64) bool { return math.Hypot(x, y) < 1 }}
	for _, p := range r.Pixels {
		switch {
		case p.Film != film || !p.placed():
		case name == "" || p.String == name:
			shapes[p.Verdict].draw(m, p.X, p.Y, size)
		default:
			others.draw(m, p.X, p.Y, size/3)
		}
	}
	return m, nil
}

// maxStill bounds what is drawn without a picture, in pixels.
const maxStill = camera.MaxPixels

func (s still) picture() (*image.RGBA, error) {
	if s.jpeg == nil {
		if s.size.X <= 0 || s.size.Y <= 0 || s.size.X > maxStill/s.size.Y {
			return nil, fmt.Errorf("a picture of %d by %d cannot be drawn", s.size.X, s.size.Y)
		}
		m := image.NewRGBA(image.Rectangle{Max: s.size})
		draw.Draw(m, m.Rect, image.Black, image.Point{}, draw.Src)
		return m, nil
	}
	src, err := jpeg.Decode(bytes.NewReader(s.jpeg))
	if err != nil {
		return nil, fmt.Errorf("the picture to mark: %w", err)
	}
	m := image.NewRGBA(src.Bounds())
	draw.Draw(m, m.Rect, src, src.Bounds().Min, draw.Src)
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
