package web

import (
	"math"
	"sync"

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
	if show.Pattern != "full-white" || len(show.Strings) != 1 {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.last == nil {
		w.last = map[string]session.Showing{}
	}
	w.last[show.Strings[0]] = show
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
}

type question struct {
	name    string
	lit     bool
	pattern string
	options patterns.Options
	level   float64
}

// of returns what the feeds of a string should draw; nil when it is not known.
func (m *meters) of(s *session.Session, plan *config.Plan, str *config.String, show session.Showing, lit bool) []feedAmps {
	q := question{name: str.Name, lit: lit}
	if lit {
		q.pattern, q.options, q.level = show.Pattern, show.Options, show.Level
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.plan != plan || len(m.known) > 1000 {
		m.plan, m.known = plan, map[question][]feedAmps{}
	}
	feeds, ok := m.known[q]
	if !ok {
		if !lit {
			show = session.Showing{Pattern: "dark"}
		}
		if bright, dark, known := s.Expected(str.Name, show); known {
			feeds = pair(str, bright, dark)
		}
		m.known[q] = feeds
	}
	return feeds
}

func pair(str *config.String, lit, dark budget.Expectation) []feedAmps {
	var feeds []feedAmps
	for i, f := range str.Feeds {
		feeds = append(feeds, feedAmps{f.At, hundredth(dark.Feeds[i]), hundredth(lit.Feeds[i])})
	}
	return feeds
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }
