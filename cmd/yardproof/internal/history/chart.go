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

// The drawing, in its own units: some two to a pixel of a phone's screen. It has
// neither inline style nor script, so that it shows under the strictest content
// security policy.
const (
	width, height = 610, 130 // of a chart
	left, top     = 90, 60   // of the first chart
	pitch         = 230      // from chart to chart
	band          = 12       // narrowest mark of a fault
	shortest      = 10 * time.Minute
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
	Color       string
}

type tick struct {
	At   float64
	Text string
}

type span struct{ X, Width float64 }

// measure is what a chart draws of a sample, and what is told of it when it is wrong.
type measure struct {
	title, unit string
	of          func(Sample) (float64, bool)
	wanted      func(Sample) (float64, bool)
	bad         func(Sample) bool
	least       float64 // the axis goes up to this much at least

	wrong, toDo string
	names       func(Sample) []string // of what was concerned
	all         string                // what is concerned when there are no names
	sum         bool                  // the measure is seconds, and a fault says how many
}

func measures() []measure {
	none := func(Sample) (float64, bool) { return 0, false }
	return []measure{
		{title: "Frames sent", unit: "a second", least: 1, wrong: "Too few frames were sent", all: "all strings",
			toDo: "Check the laptop: is it busy, on battery, was its network cable out?",
			of:   func(s Sample) (float64, bool) { return s.RateHz, true }, wanted: func(s Sample) (float64, bool) { return s.WantedHz, true },
			bad: func(s Sample) bool { return s.RateHz < 0.99*s.WantedHz }},
		{title: "Lateness of 99 in 100 frames", unit: "ms", least: 1, wrong: "Frames were late", all: "all strings",
			toDo: "Close other programs on the laptop.",
			of:   func(s Sample) (float64, bool) { return value(s.LateMS) }, wanted: none,
			bad: func(s Sample) bool { v, ok := value(s.LateMS); return ok && s.WantedHz > 0 && v > 1000/s.WantedHz }},
		{title: "Packets lost on the way to the listener", unit: "%", least: 0.1, wrong: "Packets were lost", all: "strings behind the listener's switch",
			toDo: "Check the cable and the switch on the way; do not use Wi-Fi.",
			of:   func(s Sample) (float64, bool) { return value(s.LostPercent) }, wanted: none,
			bad: func(s Sample) bool { v, ok := value(s.LostPercent); return ok && v > 0.1 }},
		{title: "A universe without packets", unit: "s in a minute", least: 1, wrong: "A universe had no packets", all: "a universe",
			toDo: "Check the cable and the switch on the way, and that controller's supply.", names: func(s Sample) []string { return s.Empty },
			of: func(s Sample) (float64, bool) { return s.Outage, true }, wanted: none, sum: true,
			bad: func(s Sample) bool { return s.Outage > 0 }},
		{title: "Controllers that answer", least: 1, wrong: "A controller did not answer", all: "a controller",
			toDo: "Check its supply and its network cable.", names: func(s Sample) []string { return s.Silent },
			of:     func(s Sample) (float64, bool) { return count(s.Answering) },
			wanted: func(s Sample) (float64, bool) { return count(s.Controllers) },
			bad: func(s Sample) bool {
				a, ok := count(s.Answering)
				all, known := count(s.Controllers)
				return ok && known && a < all
			}},
		{title: "Universes that another source sends too", least: 1, wrong: "Another source sent to our universes", all: "a universe",
			toDo: "Stop that sender, or give it other universes.", names: func(s Sample) []string { return s.Others },
			of: func(s Sample) (float64, bool) { return count(s.Conflicts) }, wanted: none,
			bad: func(s Sample) bool { v, ok := count(s.Conflicts); return ok && v > 0 }},
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

// axis is the time that is known, from left to right.
type axis struct {
	first, now time.Time
}

// x places a moment.
func (a axis) x(t time.Time) float64 {
	return math.Round((left+width*float64(t.Sub(a.first))/float64(a.now.Sub(a.first)))*10) / 10
}

// ticks are round times, six at most.
func (a axis) ticks() []tick {
	var all []tick
	for _, minutes := range []time.Duration{1, 2, 5, 10, 15, 30, 60, 120, 180, 360} {
		step := minutes * time.Minute
		if a.now.Sub(a.first) > 6*step && minutes < 360 {
			continue
		}
		_, zone := a.now.Zone()
		east := time.Duration(zone) * time.Second
		for t := a.first.Add(east).Truncate(step).Add(step - east); t.Before(a.now); t = t.Add(step) {
			all = append(all, tick{a.x(t), t.In(a.now.Location()).Format("15:04")})
		}
		break
	}
	return all
}

// Draw writes what is known of the last 24 hours up to now as a page for a phone
// or a laptop, under a note; "" for none.
func (h *History) Draw(plan, note string, now time.Time) (string, error) {
	day := h.Day()
	for len(day) > 0 && now.Sub(day[0].Time) > dayMinutes*time.Minute {
		day = day[1:]
	}
	a := axis{now.Add(-shortest), now}
	if len(day) > 0 && day[0].Time.Add(-time.Minute).Before(a.first) {
		a.first = day[0].Time.Add(-time.Minute)
	}
	page := struct {
		Plan, Note    string
		From, Until   string
		Width, Height int
		Left, Right   int
		Chart, Wide   int
		Times         []tick
		Charts        []chart
		Unknown       []string
		Faults        []fault
		Minutes       int
	}{
		Plan: plan, Note: note, From: a.first.Format("Mon 2 Jan 15:04"), Until: now.Format("Mon 2 Jan 2006 15:04 MST"),
		Left: left, Right: left + width, Chart: height, Wide: width, Width: left + width + 20, Times: a.ticks(), Faults: faults(day), Minutes: len(day),
	}
	for i := range page.Faults {
		f := &page.Faults[i]
		f.From, f.To = f.From.In(now.Location()), f.To.In(now.Location())
	}
	for _, m := range measures() {
		if c := draw(m, day, a, float64(top+len(page.Charts)*pitch)); len(c.Lines) > 0 {
			page.Charts = append(page.Charts, c)
		} else {
			page.Unknown = append(page.Unknown, m.title)
		}
	}
	page.Height = top + len(page.Charts)*pitch - (pitch - height - 50)
	var b strings.Builder
	err := dayTemplate.Execute(&b, page)
	return b.String(), err
}

func draw(m measure, day []Sample, a axis, y float64) chart {
	c := chart{Title: m.title, Unit: m.unit, Y: y, Color: "#7fd1ae"}
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
		if m.unit != "" || v == math.Trunc(v) { // half a controller does not answer
			c.Ticks = append(c.Ticks, tick{place(v), fmt.Sprintf("%g", v)})
		}
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
		at := a.x(s.Time)
		if s.Time.Sub(last) > 90*time.Second {
			end() // the program was away
		}
		last = s.Time
		if v, ok := m.of(s); ok {
			if line.Len() == 0 { // the minute before it, too
				fmt.Fprintf(&line, "%g,%g ", a.x(s.Time.Add(-time.Minute)), place(v))
			}
			fmt.Fprintf(&line, "%g,%g ", at, place(v))
		} else {
			end()
		}
		if v, ok := m.wanted(s); ok {
			wanted = append(wanted, fmt.Sprintf("%g,%g", at, place(v)))
		}
	}
	end()
	for _, f := range faults(day) {
		if f.What == m.wrong {
			from, to := a.x(f.From), a.x(f.To)
			wide := max(band, to-from)
			c.Bad = append(c.Bad, span{min(from, left+width-wide), wide})
		}
	}
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
