package burnin

import (
	"fmt"
	"slices"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/patterns"
)

// unmeasuredLevel is the most that white goes to for hours on strings whose current
// nobody read where they hang (common practice, no source).
const unmeasuredLevel = 0.3

// unmeasured returns those of the strings whose latest proof as hung is not good, or has
// no current that was read under white and was about what it should be.
func unmeasured(plan *config.Plan, names []string, standings []record.Standing) []string {
	measured := map[string]bool{}
	for _, s := range standings {
		str := plan.Find(s.String)
		if str == nil || s.Outdated(str.Label) {
			continue
		}
		if l := s.ByStage[record.Hung]; l != nil && l.Verdict == record.Good {
			measured[s.String] = slices.ContainsFunc(l.Readings, func(r record.Reading) bool { return r.Amps(record.WhileWhite) }) &&
				!slices.ContainsFunc(l.Readings, record.Reading.Off)
		}
	}
	return slices.DeleteFunc(slices.Clone(names), func(name string) bool { return measured[name] })
}

// white reports whether a step lights more than half of what a string can draw.
func white(plan *config.Plan, names []string, s Step) bool {
	p, _ := patterns.Lookup(s.Pattern)
	return p.Load || slices.ContainsFunc(names, func(name string) bool {
		return p.Worst(light.Layout(plan.Find(name)), patterns.Options{}) > 0.5
	})
}

// most is the most that a step of the programme may be shown at, and why; 0: at what
// the plan allows. One level is shown on all strings, so the least measured one counts.
func (b *BurnIn) most(s Step) (level float64, why string) {
	if len(b.unmeasured) == 0 || s.Level <= unmeasuredLevel || !white(b.plan, b.names, s) {
		return 0, ""
	}
	return unmeasuredLevel, unmeasuredText(b.unmeasured)
}

func unmeasuredText(names []string) string {
	return fmt.Sprintf("%s not measured under white where hung: %s", textout.Count(len(names), "string"), textout.Some(names, 3))
}

// measure looks up in the record what has been measured.
func (b *BurnIn) measure() {
	var standings []record.Standing
	if b.cfg.Standings != nil {
		standings = b.cfg.Standings()
	}
	b.unmeasured = unmeasured(b.plan, b.names, standings)
}
