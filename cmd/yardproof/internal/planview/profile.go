package planview

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// A profile is the volts along one string at full white of the whole plan.
type profile struct {
	Name, Subtitle string
	Notes          []string

	volts    []float64 // by lit pixel, constant current
	byLaw    []float64 // as the chip draws; nil: the same
	fade     float64   // below it the chip's colours fade; 0: not known
	feeds    []int     // lit pixels where power enters
	low, top float64   // of the axis
}

// Profile draws the volts along a string, as text or svg.
func (v *View) Profile(w io.Writer, name, format string) error {
	s, err := v.find(name)
	if err != nil {
		return err
	}
	p, err := v.newProfile(s)
	if err != nil {
		return err
	}
	if format == "svg" {
		return profileSVG.Execute(w, p)
	}
	_, err = w.Write(p.text())
	return err
}

func (v *View) newProfile(s *config.String) (*profile, error) {
	view := &v.Strings[s.Index]
	p := &profile{Name: s.Name, fade: view.WorkingVolts}
	p.volts, p.byLaw = v.budget.Profile(s.Index)
	if len(p.volts) == 0 {
		return nil, fmt.Errorf("the volts along %s are not known: the plan must give its volts or supply, its pitch, and amps_per_pixel unless the chip's are known", s.Name)
	}
	p.Subtitle = fmt.Sprintf("%s, %s V, everything at full white", textout.Count(s.Pixels, "pixel"), textout.Number(s.Volts))
	p.Notes = append(p.Notes, fmt.Sprintf("lowest %.2f V at pixel %d, with constant current", view.LowestVolts, view.LowestVoltsPixel))
	if band := view.LowestVoltsBand; band != nil {
		p.Notes = append(p.Notes, fmt.Sprintf("with wire, joints and pixels as far off as the plan's tolerance: lowest %s", bandText(band)))
	}
	if view.ChipAware != nil && p.byLaw != nil {
		p.Notes = append(p.Notes, fmt.Sprintf("lowest %.2f V at pixel %d, as the chip really draws", view.ChipAware.LowestVolts, view.ChipAware.LowestVoltsPixel))
	}
	if p.fade > 0 {
		p.Notes = append(p.Notes, fmt.Sprintf("colours fade below %s V", textout.Number(p.fade)))
	}
	for j, f := range view.Feeds {
		from := f.From
		if from == "" {
			from = f.Supply
		}
		if from != "" {
			from = " from " + from
		}
		p.Notes = append(p.Notes, fmt.Sprintf("feed at %s: %s%s", f.At, textout.Known(f.FullWhiteAmps, 2, "A"), from))
		p.feeds = append(p.feeds, min(max(s.Feeds[j].Address-s.NullPixels, 1), s.Pixels))
	}
	if view.OneMoreFeed != nil {
		p.Notes = append(p.Notes, fmt.Sprintf("one more feed would help most at pixel %d: lowest then %.2f V", view.OneMoreFeed.At, view.OneMoreFeed.LowestVolts))
	}
	p.low, p.top = slices.Min(p.volts), max(slices.Max(p.volts), s.Volts)
	if p.byLaw != nil {
		p.low = min(p.low, slices.Min(p.byLaw))
	}
	if p.fade > 0 { // the limit is in the picture, so that a small drop looks small
		p.low = min(p.low, p.fade-0.1)
	}
	p.low = math.Floor(p.low*10) / 10
	p.top = math.Ceil(p.top*10) / 10
	if p.top-p.low < 0.1 {
		p.low = p.top - 0.1
	}
	return p, nil
}

// columns shrinks a line to so many values: each the lowest of its pixels.
func columns(volts []float64, width int) []float64 {
	if len(volts) <= width {
		return volts
	}
	out := make([]float64, width)
	for i := range out {
		out[i] = slices.Min(volts[i*len(volts)/width : (i+1)*len(volts)/width])
	}
	return out
}

// Text draws for a terminal of 80 columns.
func (p *profile) text() []byte {
	const width, height = 68, 16
	line := columns(p.volts, width)
	n := len(line)
	grid := make([][]byte, height)
	for i := range grid {
		grid[i] = bytes.Repeat([]byte(" "), n)
	}
	row := func(v float64) int {
		return int(math.Round((p.top - v) / (p.top - p.low) * (height - 1)))
	}
	if p.fade > p.low && p.fade < p.top {
		copy(grid[row(p.fade)], strings.Repeat(".", n))
	}
	for x, v := range columns(p.byLaw, width) {
		grid[row(v)][x] = 'o'
	}
	for x, v := range line {
		grid[row(v)][x] = '*'
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s: %s\n\n", p.Name, p.Subtitle)
	for i, cells := range grid {
		label := ""
		if i%5 == 0 || i == height-1 {
			label = fmt.Sprintf("%.2f V", p.top-(p.top-p.low)*float64(i)/(height-1))
		}
		fmt.Fprintf(&b, "%9s |%s\n", label, bytes.TrimRight(cells, " "))
	}
	marks := bytes.Repeat([]byte("-"), n)
	for _, f := range p.feeds {
		marks[(f-1)*n/len(p.volts)] = '^'
	}
	fmt.Fprintf(&b, "%9s +%s\n", "feeds ^", marks)
	last := strconv.Itoa(len(p.volts))
	fmt.Fprintf(&b, "%9s  1%*s\n\n", "pixel", max(n-1, len(last)+1), last)
	if p.byLaw != nil {
		b.WriteString("* with constant current   o as the chip really draws   . colours fade below\n")
	}
	for _, note := range p.Notes {
		fmt.Fprintf(&b, "%s\n", note)
	}
	return b.Bytes()
}

// What the drawing needs, in its own coordinates.
const (
	plotLeft, plotTop, plotWidth, plotHeight = 70, 60, 700, 280
)

func (p *profile) y(v float64) float64 {
	return plotTop + (p.top-v)/(p.top-p.low)*plotHeight
}

func (p *profile) x(pixel int) float64 {
	if len(p.volts) < 2 {
		return plotLeft
	}
	return plotLeft + float64(pixel-1)/float64(len(p.volts)-1)*plotWidth
}

func (p *profile) points(volts []float64) string {
	shrunk := columns(volts, plotWidth)
	var b strings.Builder
	for i, v := range shrunk {
		pixel := 1 + i*(len(volts)-1)/max(len(shrunk)-1, 1)
		fmt.Fprintf(&b, "%.1f,%.1f ", p.x(pixel), p.y(v))
	}
	return strings.TrimSpace(b.String())
}

// Line and ByLaw are the points of the two curves.
func (p *profile) Line() string  { return p.points(p.volts) }
func (p *profile) ByLaw() string { return p.points(p.byLaw) }

// tick is a mark on an axis.
type tick struct {
	At   float64
	Text string
}

// Volts are the marks of the upright axis, Pixels those of the other.
func (p *profile) Volts() []tick {
	ticks := make([]tick, 6)
	for i := range ticks {
		v := p.top - (p.top-p.low)*float64(i)/5
		ticks[i] = tick{p.y(v), fmt.Sprintf("%.2f V", v)}
	}
	return ticks
}

func (p *profile) Pixels() []tick {
	n := len(p.volts)
	var ticks []tick
	for i := range min(n, 6) {
		pixel := 1 + i*(n-1)/max(min(n, 6)-1, 1)
		ticks = append(ticks, tick{p.x(pixel), strconv.Itoa(pixel)})
	}
	return ticks
}

// Feeds are where power enters.
func (p *profile) Feeds() []tick {
	var ticks []tick
	for _, f := range p.feeds {
		ticks = append(ticks, tick{p.x(f), ""})
	}
	return ticks
}

// Fade is the line below which colours fade; none when it is outside.
func (p *profile) Fade() []tick {
	if p.fade <= p.low || p.fade >= p.top {
		return nil
	}
	return []tick{{p.y(p.fade), fmt.Sprintf("colours fade below %s V", textout.Number(p.fade))}}
}

//go:embed profile.svg
var profileText string

var profileSVG = template.Must(template.New("profile").Funcs(template.FuncMap{
	"below": func(i int) int { return plotTop + plotHeight + 56 + 18*i },
	"total": func(notes []string) int { return plotTop + plotHeight + 64 + 18*len(notes) },
}).Parse(profileText))
