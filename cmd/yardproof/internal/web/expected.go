package web

import (
	"math"
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
	last map[string]session.Showing
}

func (w *whites) note(show session.Showing) {
	if p, _ := patterns.Lookup(show.Pattern); !p.Load {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.last == nil {
		w.last = map[string]session.Showing{}
	}
	for _, name := range show.Strings {
		w.last[name] = show
	}
}

func (w *whites) of(name string) (session.Showing, bool) {
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
func (m *meters) of(plan *config.Plan, b *budget.Budget, str *config.String, show session.Showing, lit bool) []feedAmps {
	q := question{str.Name, light.Lit{Pattern: patterns.Dark}}
	if lit {
		q.Lit = litAs(show)
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
		if ok1 && ok2 && !swings(q.Pattern) {
			feeds = pair(str, bright, dark)
		}
		m.known[q] = feeds
	}
	return feeds
}

func litAs(show session.Showing) light.Lit {
	return light.Lit{Pattern: show.Pattern, Options: show.Options, Level: show.Level}
}

// swings reports whether a pattern's current changes from moment to moment.
func swings(pattern string) bool {
	p, _ := patterns.Lookup(pattern)
	return p.Swings
}

func pair(str *config.String, lit, dark budget.Expectation) []feedAmps {
	var feeds []feedAmps
	for i, f := range str.Feeds {
		feeds = append(feeds, feedAmps{f.At, hundredth(dark.Feeds[i]), hundredth(lit.Feeds[i])})
	}
	return feeds
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

// whiteCount is how many pixels of one string, evenly spread, may be lit at full
// level when nothing else is: what a reading is best taken with, since neither
// gamma nor dimming by pulses comes between (common practice, no source).
// It is 0 when all may.
func (m *meters) whiteCount(plan *config.Plan, b *budget.Budget, str *config.String) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.plan != plan {
		m.begin(plan)
	}
	n, ok := m.count[str.Name]
	if !ok {
		duty := make([]float64, len(plan.Strings))
		duty[str.Index] = 1
		if limit := b.CapSpread(duty); limit.Level < 1 {
			n = max(1, int(limit.Level*float64(str.Pixels)))
		}
		m.count[str.Name] = n
	}
	return n
}

func (m *meters) begin(plan *config.Plan) {
	m.plan, m.known, m.count = plan, map[question][]feedAmps{}, map[string]int{}
}
