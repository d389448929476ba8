package film

import (
	"bytes"
	"cmp"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"slices"

	"yardproof/patterns/camera"
)

// mark is how a verdict is drawn: by shape as well as by colour.
type mark struct {
	colour color.RGBA
	shape  func(x, y float64) bool // within a square of -1 to 1
	stands bool                    // out from those about it: larger, before them, and on a darker ground
}

// marked is a mark in its place.
type marked struct {
	mark
	x, y, size float64
}

// Sizes of marks where lights are close together, in pixels of the picture from the
// middle. Smaller ones are no shapes any more.
const (
	leastMark  = 2.5
	leastStand = 4.0
	ground     = 1.15 // of what stands out, in its size
)

func marks() map[Verdict]mark {
	ring := func(x, y float64) bool { r := math.Hypot(x, y); return r < 1 && r > .7 }
	return map[Verdict]mark{
		Good:          {color.RGBA{0, 200, 120, 255}, ring, false},
		ColourMissing: {color.RGBA{255, 190, 0, 255}, func(x, y float64) bool { return y < .8 && y > 2*math.Abs(x)-.9 && (y > .5 || y < 2*math.Abs(x)-.3) }, true},
		ColourOrder:   {color.RGBA{255, 140, 60, 255}, func(x, y float64) bool { m := max(math.Abs(x), math.Abs(y)); return m < .9 && m > .6 }, false},
		OtherAddress:  {color.RGBA{255, 90, 220, 255}, func(x, y float64) bool { m := math.Abs(x) + math.Abs(y); return m < 1 && m > .65 }, false},
		Stuck: {color.RGBA{255, 60, 60, 255}, func(x, y float64) bool {
			return min(math.Abs(x), math.Abs(y)) < .2 && max(math.Abs(x), math.Abs(y)) < 1
		}, true},
		NotSeen: {color.RGBA{170, 190, 255, 255}, func(x, y float64) bool { return math.Abs(math.Abs(x)-math.Abs(y)) < .25 && math.Abs(x) < .85 }, true},
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
	others := mark{color.RGBA{120, 120, 120, 255}, func(x, y float64) bool { return math.Hypot(x, y) < .34 }, false}
	var all []marked
	for _, p := range r.Pixels {
		switch {
		case p.Film != film || !p.placed():
		case name == "" || p.String == name:
			k := marked{shapes[p.Verdict], p.X, p.Y, size}
			if k.stands {
				k.size *= 1.6 // to be found on a phone, where the picture is a hand wide
			}
			all = append(all, k)
		default:
			all = append(all, marked{others, p.X, p.Y, size})
		}
	}
	fit(all)
	for _, k := range all {
		if !k.stands {
			k.draw(m)
		}
	}
	for _, k := range all {
		if k.stands {
			k.darken(m)
		}
	}
	for _, k := range all {
		if k.stands {
			k.draw(m)
		}
	}
	return m, nil
}

// fit makes marks so small that none covers another, as far as they stay shapes: what
// stands out gives way only to its like.
func fit(all []marked) {
	slices.SortFunc(all, func(a, b marked) int { return cmp.Compare(a.x, b.x) })
	least := func(k marked) float64 {
		if k.stands {
			return leastStand
		}
		return leastMark
	}
	widest := 0.0
	for _, k := range all {
		widest = max(widest, k.size)
	}
	for i := range all {
		a := &all[i]
		for j := i + 1; j < len(all) && all[j].x-a.x < 2*widest; j++ {
			b := &all[j]
			half := math.Hypot(b.x-a.x, b.y-a.y) / 2
			if !a.stands || b.stands {
				a.size = max(least(*a), min(a.size, half))
			}
			if !b.stands || a.stands {
				b.size = max(least(*b), min(b.size, half))
			}
		}
	}
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

func (k marked) draw(m *image.RGBA) {
	k.each(m, k.shape, func(color.RGBA) color.RGBA { return k.colour })
}

// darken makes the ground of a mark.
func (k marked) darken(m *image.RGBA) {
	k.each(m, func(x, y float64) bool { return math.Hypot(x, y) < ground }, func(c color.RGBA) color.RGBA {
		return color.RGBA{c.R / 4, c.G / 4, c.B / 4, 255}
	})
}

// each gives the pixels of a shape another colour.
func (k marked) each(m *image.RGBA, shape func(x, y float64) bool, colour func(was color.RGBA) color.RGBA) {
	reach := int(ground*k.size) + 1
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			at := image.Pt(int(math.Round(k.x))+dx, int(math.Round(k.y))+dy)
			if at.In(m.Rect) && shape((float64(at.X)-k.x)/k.size, (float64(at.Y)-k.y)/k.size) {
				m.SetRGBA(at.X, at.Y, colour(m.RGBAAt(at.X, at.Y)))
			}
		}
	}
}
