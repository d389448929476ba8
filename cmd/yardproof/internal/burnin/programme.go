package burnin

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"yardproof/config"
	"yardproof/patterns"
)

// Programme is what is shown over and over until its hours have been served.
type Programme struct {
	Hours  time.Duration // to be served by each string
	Window config.Window
	Steps  []Step
}

// Step is one step of a programme.
type Step struct {
	Pattern  string
	Level    float64 // 0-1
	Duration time.Duration
	Added    bool // not in the plan: the moving step that a white needs after it
}

// The moving step that is put after a white that has none: under a still
// picture a broken data line goes unseen, since pixels hold their last value
// (common practice, no source).
const (
	movingPattern  = "tick"
	movingDuration = time.Minute
)

const example = `burn_in:
  hours: 48
  programme:
    - {pattern: walk, minutes: 20}
    - {pattern: full-white, level: 60%, minutes: 10}
    - {pattern: dark, minutes: 5}`

// NewProgramme reads the programme of a plan. Hours above 0 replace the plan's.
func NewProgramme(plan *config.Plan, hours float64) (Programme, error) {
	b := plan.BurnIn
	if hours == 0 {
		hours = b.Hours
	}
	switch {
	case len(b.Programme) == 0:
		return Programme{}, fmt.Errorf("the plan has no programme under burn_in:; add for example\n\n%s", example)
	case hours == 0:
		return Programme{}, errors.New("the plan does not say for how long; add hours: under burn_in:, or give --hours")
	}
	p := Programme{Hours: time.Duration(hours * float64(time.Hour)), Window: b.Between}
	for i, s := range b.Programme {
		pattern, ok := patterns.Lookup(s.Pattern)
		if !ok {
			return p, fmt.Errorf("%s: there is no pattern %q; there are %s", plan.Where(s.At("pattern")), s.Pattern, strings.Join(patterns.Names(), ", "))
		}
		p.Steps = append(p.Steps, Step{Pattern: s.Pattern, Level: s.Level, Duration: s.Duration})
		next, _ := patterns.Lookup(b.Programme[(i+1)%len(b.Programme)].Pattern)
		if pattern.Load && !next.Moves {
			p.Steps = append(p.Steps, Step{Pattern: movingPattern, Level: 1, Duration: movingDuration, Added: true})
		}
	}
	return p, nil
}

// Length is the time of one cycle.
func (p Programme) Length() time.Duration {
	var sum time.Duration
	for _, s := range p.Steps {
		sum += s.Duration
	}
	return sum
}

// at returns the step that is due when a cycle has been served for a time.
func (p Programme) at(served time.Duration) int {
	for i, s := range p.Steps {
		if served < s.Duration {
			return i
		}
		served -= s.Duration
	}
	return len(p.Steps) - 1
}

// String writes the steps on one line.
func (p Programme) String() string {
	var parts []string
	for _, s := range p.Steps {
		part := fmt.Sprintf("%s %.0f%% %s", s.Pattern, s.Level*100, short(s.Duration))
		if s.Added {
			part += " (added: a still picture hides a broken data line)"
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

// short writes a duration without the parts that are zero.
func short(d time.Duration) string {
	text := d.Round(time.Second).String()
	text = strings.TrimSuffix(text, "0s")
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	if text == "" || strings.IndexByte("hm", text[len(text)-1]) < 0 {
		return d.Round(time.Second).String()
	}
	return text
}
