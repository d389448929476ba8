package history

import (
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strings"
	"time"
)

// The drawing, in its own units. It has neither style nor script, so that it
// shows under the strictest content security policy.
const (
	width, height = 1440, 150 // of a chart: a unit for each minute of the day
	left, top     = 90, 60    // of the first chart
	pitch         = 210       // from chart to chart
)

//go:embed day.html
var dayHTML string

var dayTemplate = template.Must(template.New("day").Parse(dayHTML))

// chart is one measure over the day.
type chart struct {
	Title, Unit string
	Y           float64 // of its top
	Lines       []string
	Wanted      string // a line for what should be; "": none
	Ticks       []tick
	Bad         []span // where it was wrong
	Unknown     bool   // never observed
	Color       string
}

type tick struct {
	At   float64
	Text string
}

type span struct{ X, Width float64 }

// measure is what a chart draws of a sample.
type measure struct {
	title, unit string
	of          func(Sample) (float64, bool)
	wanted      func(Sample) (float64, bool)
	bad         func(Sample) bool
	least       float64 // the axis goes up to this much at least
}

func measures() []measure {
	none := func(Sample) (float64, bool) { return 0, false }
	return []measure{
		{"Frames sent", "a second",
			func(s Sample) (float64, bool) { return s.RateHz, true },
			func(s Sample) (float64, bool) { return s.WantedHz, true },
			func(s Sample) bool { return s.RateHz < 0.99*s.WantedHz }, 1},
		{"Lateness that 99 of 100 frames kept within", "ms",
			func(s Sample) (float64, bool) { return value(s.LateMS) }, none,
			func(s Sample) bool { v, ok := value(s.LateMS); return ok && s.WantedHz > 0 && v > 1000/s.WantedHz }, 1},
		{"Packets lost on the way to the listener", "%",
			func(s Sample) (float64, bool) { return value(s.LostPercent) }, none,
			func(s Sample) bool { v, ok := value(s.LostPercent); return ok && v > 0.1 }, 0.1},
		{"Controllers that answer", "",
			func(s Sample) (float64, bool) { return count(s.Answering) },
			func(s Sample) (float64, bool) { return count(s.Controllers) },
			func(s Sample) bool {
				a, ok := count(s.Answering)
				all, known := count(s.Controllers)
				return ok && known && a < all
			}, 1},
		{"Universes that another source sends too", "",
			func(s Sample) (float64, bool) { return count(s.Conflicts) }, none,
			func(s Sample) bool { v, ok := count(s.Conflicts); return ok && v > 0 }, 1},
	}
}

func value(p *float64) (float64, bool) {
	if p == nil {
		return 0, false
	}
	return *p, true
}

func count(p *int) (float64, bool) {
	if p == nil {
		return 0, false
	}
	return float64(*p), true
}

// Draw writes the last 24 hours up to now as a page for a phone or a laptop, under
// a note; "" for none.
func (h *History) Draw(plan, note string, now time.Time) (string, error) {
	day := h.Day()
	page := struct {
		Plan, Note    string
		Until         string
		Width, Height int
		Left, Right   int
		Chart, Wide   int
		Hours         []tick
		Charts        []chart
		Minutes, Bad  int
	}{Plan: plan, Note: note, Until: now.Format("Mon 2 Jan 2006 15:04 MST"), Left: left, Right: left + width, Chart: height, Wide: width, Width: left + width + 30}
	for i, m := range measures() {
		page.Charts = append(page.Charts, draw(m, day, now, float64(top+i*pitch)))
	}
	page.Height = top + len(page.Charts)*pitch
	page.Minutes = len(day)
	for _, s := range day {
		for _, m := range measures() {
			if m.bad(s) {
				page.Bad++
				break
			}
		}
	}
	first := now.Add(-dayMinutes * time.Minute)
	for t := first.Truncate(time.Hour).Add(time.Hour); t.Before(now); t = t.Add(time.Hour) {
		if t.Hour()%3 == 0 {
			page.Hours = append(page.Hours, tick{x(t, now), t.Format("15:04")})
		}
	}
	var b strings.Builder
	err := dayTemplate.Execute(&b, page)
	return b.String(), err
}

// x places a moment.
func x(t, now time.Time) float64 { return math.Round((left+width-now.Sub(t).Minutes())*10) / 10 }

func draw(m measure, day []Sample, now time.Time, y float64) chart {
	c := chart{Title: m.title, Unit: m.unit, Y: y, Unknown: true, Color: "#7fd1ae"}
	most := m.least
	for _, s := range day {
		for _, f := range []func(Sample) (float64, bool){m.of, m.wanted} {
			if v, ok := f(s); ok {
				most = max(most, v)
			}
		}
	}
	most = round(most)
	place := func(v float64) float64 { return math.Round((y+height-v/most*height)*10) / 10 }
	for _, v := range []float64{0, most / 2, most} {
		c.Ticks = append(c.Ticks, tick{place(v), fmt.Sprintf("%g", v)})
	}
	var wanted []string
	var line strings.Builder
	var last time.Time
	end := func() {
		if line.Len() > 0 {
			c.Lines = append(c.Lines, line.String())
			line.Reset()
		}
	}
	for _, s := range day {
		at := x(s.Time, now)
		if at < left {
			continue
		}
		if s.Time.Sub(last) > 90*time.Second {
			end() // the program was away
		}
		last = s.Time
		if v, ok := m.of(s); ok {
			c.Unknown = false
			fmt.Fprintf(&line, "%g,%g ", at, place(v))
		} else {
			end()
		}
		if v, ok := m.wanted(s); ok {
			wanted = append(wanted, fmt.Sprintf("%g,%g", at, place(v)))
		}
		if m.bad(s) {
			if n := len(c.Bad); n > 0 && at-(c.Bad[n-1].X+c.Bad[n-1].Width) < 1.5 {
				c.Bad[n-1].Width = at - c.Bad[n-1].X
			} else {
				c.Bad = append(c.Bad, span{at - 1, 1})
			}
		}
	}
	end()
	c.Wanted = strings.Join(wanted, " ")
	return c
}

// round goes up to the next 1, 2 or 5 times a power of ten.
func round(v float64) float64 {
	unit := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{1, 2, 5} {
		if v <= f*unit*1.0001 {
			return f * unit
		}
	}
	return 10 * unit
}

// Handler serves the drawing, under what note says at the moment.
func (h *History) Handler(plan string, note func() string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		page, err := h.Draw(plan, note(), time.Now())
		if err != nil {
			http.Error(w, "the drawing failed: "+err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Cache-Control", "no-store")
		fmt.Fprint(w, page)
	})
}
