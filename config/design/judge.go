package design

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
)

// judge says what is wrong with the power of strings, as config/budget and
// config/protection see them.
type judge struct {
	plan *config.Plan
	opts *Options

	known sync.Map // by name of string: its findings that are no matter of feeds
}

// findings are what is wrong with a string, whose beside are what hangs on its
// feeders too: no words when nothing is. With thorough nothing is left out; without,
// the first is enough.
func (j *judge) findings(s *config.String, beside []*config.String, thorough bool) []string {
	p := j.plan.Excerpt(append([]*config.String{s}, beside...)...)
	b := budget.New(p)
	var found []string
	for _, f := range s.Feeds {
		switch {
		case f.Supply == nil:
			found = append(found, fmt.Sprintf("its feed at %s has no supply", f.At))
		case f.FuseAmps <= 0 && (f.Feeder == nil || f.Feeder.FuseAmps <= 0):
			found = append(found, fmt.Sprintf("its feed at %s has no fuse", f.At))
		}
	}
	missing := len(found) > 0
	found = append(found, j.power(p, b, thorough)...)
	if !b.Known(0) || missing || len(found) > 0 && !thorough {
		return found
	}
	if !thorough {
		if why := protection.Within(p, b, 0); why != "" {
			return append(found, why)
		}
	}
	for _, x := range protection.New(p, b).Problems {
		found = j.take(found, p, x)
	}
	return found
}

// power is what the budget finds.
func (j *judge) power(p *config.Plan, b *budget.Budget, thorough bool) []string {
	s, r := p.Strings[0], &b.Strings[0]
	apart := j.apart(p)
	level := 100 * j.opts.Level
	var found []string
	for _, x := range b.Problems {
		if !slices.Contains(apart, x.What) && !j.fullWhite(p, r, x) {
			found = j.take(found, p, x)
		}
	}
	at := r // at the asked level
	if j.opts.Level < 1 {
		at = &budget.New(j.dimmed(p, b)).Strings[0]
	}
	if x := at.LowestVoltsBand; x != nil && x.Least < r.WorkingVolts-1e-6 && len(found) == 0 {
		found = append(found, fmt.Sprintf("pixel %d may have %.2f V at the worst side of the plan's tolerance, and fades below %.4g V", at.LowestVoltsPixel, max(x.Least, 0), r.WorkingVolts))
	}
	if a := at.ChipAware; a != nil && r.Chip.Load == config.LoadPower && (a.Collapse || a.FirstFadedPixel > 0) && len(found) == 0 {
		found = append(found, fmt.Sprintf("pixel %d has %.2f V and fades, since its regulators draw more as volts fall", max(a.FirstFadedPixel, r.LowestVoltsPixel), a.LowestVolts))
	}
	if r.WithinFusesKnown && r.WithinFusesPercent < level-1e-6 {
		found = append(found, fmt.Sprintf("fuses and supplies carry it for long up to %.0f %% (%s)", math.Floor(r.WithinFusesPercent), r.WithinFusesBy))
	}
	for i := range at.Feeds {
		if lost := at.Feeds[i].Lost; j.opts.LoseOne && lost != nil && len(lost.Fails) > 0 && (thorough || len(found) == 0) {
			found = append(found, fmt.Sprintf("with its feed at %s lost %s", s.Feeds[i].At, lost.Fails[0]))
		}
	}
	return found
}

// fullWhite reports whether a problem is one of full white where less is asked: what
// holds at the asked level is judged with it.
func (j *judge) fullWhite(p *config.Plan, r *budget.String, x config.Problem) bool {
	if j.opts.Level == 1 {
		return false
	}
	return x.Where.Mark == p.Strings[0].At("pitch") && r.WorkingVolts > 0 && r.LowestVolts < r.WorkingVolts && !r.Starved ||
		r.WithinFusesKnown && slices.ContainsFunc(p.Supplies, func(v *config.Supply) bool { return x.Where.Mark == v.At("watts") })
}

// dimmed is a plan whose strings draw at full white what they draw at the asked level.
func (j *judge) dimmed(p *config.Plan, b *budget.Budget) *config.Plan {
	list := slices.Clone(p.Strings)
	for i, s := range list {
		d, c := *s, b.Strings[i].Chip
		idle := min(c.IdleAmpsPerPixel, c.AmpsPerPixel)
		d.AmpsPerPixel, d.IdleAmpsPerPixel = idle+j.opts.Level*(c.AmpsPerPixel-idle), idle
		list[i] = &d
	}
	return p.Excerpt(list...)
}

// take adds a problem, unless it is that of another string.
func (j *judge) take(found []string, p *config.Plan, x config.Problem) []string {
	for i, s := range p.Strings {
		what, its := speaksOf(x, s)
		switch {
		case its && i == 0:
			return append(found, what)
		case its:
			return found
		}
	}
	return append(found, x.What)
}

// speaksOf tells what a problem says of a string; false when it is not that string's.
func speaksOf(x config.Problem, s *config.String) (what string, its bool) {
	rest, its := strings.CutPrefix(x.What, "string "+s.Name)
	its = its && (strings.HasPrefix(rest, ":") || strings.HasPrefix(rest, ",") || strings.HasPrefix(rest, " has"))
	return strings.TrimLeft(rest, ":, "), its
}

// apart are the problems that a string has whatever its feeds are: those that stay
// when it draws next to nothing from one feed without a fuse.
func (j *judge) apart(p *config.Plan) []string {
	if texts, ok := j.known.Load(p.Strings[0].Name); ok {
		return texts.([]string)
	}
	s := *p.Strings[0]
	f := *s.Feeds[0]
	s.AmpsPerPixel, s.IdleAmpsPerPixel, f.FuseAmps, f.Feeder = 1e-9, 0, 0, nil
	s.Feeds, s.CutPositiveAfter = []*config.Feed{&f}, nil
	var texts []string
	for _, x := range budget.New(p.Excerpt(&s)).Problems {
		texts = append(texts, x.What)
	}
	j.known.Store(s.Name, texts)
	return texts
}
