package patterns

import (
	"bytes"
	"fmt"
	"math"
	"time"
)

// Picture draws a pattern on a string as an SVG document: a row of pixels for
// each telling moment, time running down. Long strings break into several lines
// a moment. It is for reading, not for measuring: dim levels are shown brighter
// than they are.
func Picture(p Pattern, l Layout) []byte {
	const (
		pitch, radius = 12.0, 4.2
		line, moment  = 18.0, 26.0
		left, top     = 52.0, 44.0
		perLine       = 50
	)
	n := max(0, l.Pixels)
	lines := max(1, (n+perLine-1)/perLine)
	width := left + pitch*float64(max(20, min(n, perLine))) + 12
	times := p.moments(l)
	height := top + float64(len(times))*(moment+line*float64(lines-1)) + 2

	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s: %s">`+"\n",
		width, height, width, height, p.Name, p.Does)
	fmt.Fprintf(&b, `<rect width="%g" height="%g" rx="8" fill="#10192b"/>`+"\n", width, height)
	fmt.Fprintf(&b, `<text x="14" y="26" font-family="system-ui,sans-serif" font-size="14" font-weight="600" fill="#e8edf6">%s</text>`+"\n", p.Name)

	dst := make([]byte, n*l.channels())
	y := top
	for _, at := range times {
		p.Frame(dst, l, Options{}, at)
		if len(times) > 1 {
			fmt.Fprintf(&b, `<text x="14" y="%g" font-family="system-ui,sans-serif" font-size="10" fill="#8fa0bd">%s</text>`+"\n", y+6, seconds(at))
		}
		for from := 0; from < max(1, n); from += perLine {
			to := min(n, from+perLine)
			fmt.Fprintf(&b, `<path d="M%g %gh%g" stroke="#2c3a55" stroke-width="1.5"/>`, left-8, y+2, pitch*float64(to-from)+4)
			for i := from; i < to; i++ {
				fmt.Fprintf(&b, `<circle cx="%g" cy="%g" r="%g" fill="%s"/>`, left+pitch*float64(i-from), y+2, radius, l.shown(dst, i))
			}
			b.WriteByte('\n')
			y += line
		}
		y += moment - line
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// moments are fixed times, in seconds.
func moments(seconds ...float64) func(Layout) []time.Duration {
	m := make([]time.Duration, len(seconds))
	for i, s := range seconds {
		m[i] = time.Duration(s * float64(time.Second))
	}
	return func(Layout) []time.Duration { return m }
}

// beginnings are the first of the times, among the multiples of a step in one
// cycle, at which something is lit.
func beginnings(frame func([]byte, Layout, Options, time.Duration), step time.Duration, cycle func(Layout) time.Duration) func(Layout) []time.Duration {
	const most = 12
	return func(l Layout) []time.Duration {
		size := max(0, l.Pixels) * l.channels()
		now, before, dark := make([]byte, size), make([]byte, size), make([]byte, size)
		m := []time.Duration{0}
		for t := step; t < cycle(l) && len(m) < most; t += step {
			frame(before, l, Options{}, t-1)
			frame(now, l, Options{}, t)
			if !bytes.Equal(now, dark) && !bytes.Equal(now, before) {
				m = append(m, t)
			}
		}
		return m
	}
}

func seconds(t time.Duration) string { return fmt.Sprintf("%g s", t.Seconds()) }

// shown is the colour of pixel i on a screen.
func (l Layout) shown(dst []byte, i int) string {
	c := l.colourAt(dst, i)
	if c == (colour{}) {
		return "#1b2740"
	}
	// A screen's values are not linear; white joins the three others.
	v := [3]float64{}
	for k, x := range [3]byte{c.r, c.g, c.b} {
		linear := min(1, (float64(x)+float64(c.w))/255)
		v[k] = 30 + 225*math.Pow(linear, 1/2.2)
		if linear == 0 {
			v[k] = 30
		}
	}
	return fmt.Sprintf("#%02x%02x%02x", int(v[0]), int(v[1]), int(v[2]))
}

// colourAt reads the colour of pixel i back from its slots.
func (l Layout) colourAt(dst []byte, i int) (c colour) {
	n := l.channels()
	for k := range min(n, len(l.Order)) {
		v := dst[i*n+k]
		switch l.Order[k] {
		case 'R':
			c.r = v
		case 'G':
			c.g = v
		case 'B':
			c.b = v
		case 'W':
			c.w = v
		}
	}
	return c
}
