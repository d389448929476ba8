package web

import (
	"math"
	"sort"
	"sync"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// whites remembers how each string was lit by full-white last, since its reading
// is typed in when white has fallen back already.
type whites struct {
	mu   sync.Mutex
	last map[string]session.Shown
}

func (w *whites) note(show session.Shown) {
	if !show.Pattern.Load {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.last == nil {
		w.last = map[string]session.Shown{}
	}
	for _, name := range show.Strings {
		w.last[name] = show
	}
}

func (w *whites) of(name string) (session.Shown, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	show, ok := w.last[name]
	return show, ok
}

// feedAmps is what the meter should read at one feed, in amperes.
type feedAmps struct {
	Feed string  `json:"feed"`
	Dark float64 `json:"dark"`
	Lit  float64 `json:"lit"`

	Least float64 `json:"least"` // lit, with wire, joints and pixels as far off as the plan's tolerance says
	Most  float64 `json:"most"`
}

// meters remembers what was worked out, since every phone asks for it again and
// again.
type meters struct {
	mu    sync.Mutex
	plan  *config.Plan
	known map[question][]feedAmps
	count map[string]int // by string
}

type question struct {
	name string
	light.Lit
}

// of returns what the feeds of a string should draw; nil when it is not known, or
// swings with the picture.
func (m *meters) of(now session.Snapshot, str *config.String) []feedAmps {
	plan, b := now.Plan, now.Budget
	q := question{str.Name, light.Lit{Pattern: patterns.Dark}}
	lit := now.Shown.Lights(str.Name)
	if lit {
		q.Lit = litAs(now.Shown)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.plan != plan || len(m.known) > 1000 {
		m.begin(plan)
	}
	feeds, ok := m.known[q]
	if !ok {
		bright, ok1 := light.Expected(b, str, q.Lit, 0)
		dark, ok2 := light.Expected(b, str, light.Lit{Pattern: patterns.Dark}, 0)
		if ok1 && ok2 && !(lit && now.Shown.Pattern.Swings) {
			feeds = pair(str, bright, dark)
		}
		m.known[q] = feeds
	}
	return feeds
}

func litAs(show session.Shown) light.Lit {
	return light.Lit{Pattern: show.Pattern.Name, Options: show.Options, Level: show.Level}
}

// swings reports whether a pattern's current changes from moment to moment.
func swings(pattern string) bool {
	p, _ := patterns.Lookup(pattern)
	return p.Swings
}

func pair(str *config.String, lit, dark budget.Expectation) []feedAmps {
	var feeds []feedAmps
	for i, f := range str.Feeds {
		a := feedAmps{Feed: f.At, Dark: hundredth(dark.Feeds[i]), Lit: hundredth(lit.Feeds[i])}
		a.Least, a.Most = a.Lit, a.Lit
		if lit.Least != nil {
			a.Least, a.Most = hundredth(lit.Least.Feeds[i]), hundredth(lit.Most.Feeds[i])
		}
		feeds = append(feeds, a)
	}
	return feeds
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

// whiteCount is how many pixels of one string, evenly spread, may be lit at full
// level when nothing else is: what a reading is best taken with, since neither
// gamma nor dimming by pulses comes between (common practice, no source).
// It is 0 when all may.
func (m *meters) whiteCount(now session.Snapshot, str *config.String) int {
	plan := now.Plan
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.plan != plan {
		m.begin(plan)
	}
	n, ok := m.count[str.Name]
	if !ok {
		duty := make([]float64, len(plan.Strings))
		tooMany := sort.Search(str.Pixels, func(i int) bool {
			duty[str.Index] = float64(i+1) / float64(str.Pixels)
			c := now.Budget.CapSpread(duty)
			return c.Bound < 1 || c.Level < duty[str.Index] // where a fuse is not known, as much of the string as the careful level would light
		})
		if tooMany < str.Pixels {
			n = max(1, tooMany)
		}
		m.count[str.Name] = n
	}
	return n
}

func (m *meters) begin(plan *config.Plan) {
	m.plan, m.known, m.count = plan, map[question][]feedAmps{}, map[string]int{}
}
