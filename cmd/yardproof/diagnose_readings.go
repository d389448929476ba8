package main

import (
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

func (f *diagnoseFlags) readAmps(fs *pflag.FlagSet, plan *config.Plan, s *config.String) (diagnose.Answer, error) {
	r := diagnose.Amps{Read: f.amps, Expected: f.expected, PerPixel: f.perPixel, Feed: f.feed}
	var err error
	if r.Meter, err = f.meterError(diagnose.AssumedClamp); err != nil {
		return diagnose.Answer{}, err
	}
	if fs.Changed("dark-amps") {
		r.Dark = &f.darkAmps
	}
	if s != nil {
		b, err := f.budget(plan)
		if err != nil {
			return diagnose.Answer{}, err
		}
		if err := f.expectAmps(fs, b, s, &r); err != nil {
			return diagnose.Answer{}, err
		}
	}
	if r.Expected <= 0 {
		return diagnose.Answer{}, usagef("--amps needs something to compare with: the PLAN and --string, or --expected")
	}
	return r.Answer()
}

// budget computes the plan's budget; a plan with errors has none worth computing.
func (f *diagnoseFlags) budget(plan *config.Plan) (*budget.Budget, error) {
	if f.planErrors > 0 {
		return nil, usagef("the plan has %s: correct it first, so that there is something to compare with", count(f.planErrors, "error"))
	}
	return budget.New(plan), nil
}

// expectAmps fills in what the plan expects of a feed.
func (f *diagnoseFlags) expectAmps(fs *pflag.FlagSet, b *budget.Budget, s *config.String, r *diagnose.Amps) error {
	feed, err := f.theFeed(s)
	if err != nil {
		return err
	}
	lit, err := f.lit()
	if err != nil {
		return err
	}
	white, ok := diagnose.Expected(b, s, lit, 0)
	dark, darkOK := diagnose.Expected(b, s, diagnose.Lit{Pattern: "dark"}, 0)
	if !ok || !darkOK {
		return usagef("the plan does not say enough about %s to expect a current (yardproof plan says what is missing): give --expected", s.Name)
	}
	pixels := s.Pixels
	if f.count > 0 {
		pixels = min(f.count, s.Pixels)
	}
	if !fs.Changed("expected") {
		r.Expected, r.ExpectedDark = white.Feeds[feed], dark.Feeds[feed]
	}
	if !fs.Changed("amps-per-pixel") {
		r.PerPixel = (white.Amps - dark.Amps) / float64(pixels)
	}
	if lit.Level == 1 && s.Dimmed == 1 && f.count == 0 {
		r.Planned = b.Strings[s.Index].Chip.AmpsPerPixel
	}
	if r.Feed == "" {
		r.Feed = s.Feeds[feed].At
	}
	r.Feed += " of " + s.Name
	return nil
}

// theFeed is the index of the feed that was read.
func (f *diagnoseFlags) theFeed(s *config.String) (int, error) {
	var names []string
	for i, feed := range s.Feeds {
		if f.feed == "" || feed.At == f.feed {
			return i, nil
		}
		names = append(names, feed.At)
	}
	return 0, usagef("%s has no feed at %q; it has %s", s.Name, f.feed, strings.Join(names, ", "))
}

// lit is what was shown while it was read.
func (f *diagnoseFlags) lit() (diagnose.Lit, error) {
	level, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(f.level), "%")), 64)
	if err != nil || !(level > 0 && level <= 100) {
		return diagnose.Lit{}, usagef("--level %q is not a share from above 0 to 100%%", f.level)
	}
	return diagnose.Lit{Pattern: "full-white", Options: patterns.Options{Count: f.count}, Level: level / 100}, nil
}

func (f *diagnoseFlags) readVolts(plan *config.Plan, s *config.String) (diagnose.Answer, error) {
	points, err := parsePoints(f.volts)
	if err != nil {
		return diagnose.Answer{}, err
	}
	m, err := f.meterError(diagnose.AssumedVolts)
	if err != nil {
		return diagnose.Answer{}, err
	}
	if s == nil {
		return diagnose.Answer{}, usagef("--volts needs the PLAN and --string, to know what to expect")
	}
	lit, err := f.lit()
	if err != nil {
		return diagnose.Answer{}, err
	}
	supply := 0.0
	for _, p := range points {
		if p.Pixel == 0 {
			supply = p.Volts
		}
	}
	b, err := f.budget(plan)
	if err != nil {
		return diagnose.Answer{}, err
	}
	e, ok := diagnose.Expected(b, s, lit, supply)
	if !ok || e.Volts == nil {
		return diagnose.Answer{}, usagef("the plan does not say enough about %s to expect volts (yardproof plan says what is missing)", s.Name)
	}
	return diagnose.Volts(e, points, s.Volts, m)
}

// parsePoints reads supply=12.1,1=11.8,50=10.9.
func parsePoints(parts []string) ([]budget.Point, error) {
	var points []budget.Point
	for _, part := range parts {
		at, volts, ok := strings.Cut(part, "=")
		var p budget.Point
		var err, err2 error
		if at = strings.TrimSpace(at); at != "supply" {
			p.Pixel, err = strconv.Atoi(at)
			ok = ok && p.Pixel > 0
		}
		p.Volts, err2 = strconv.ParseFloat(strings.TrimRight(strings.TrimSpace(volts), " vV"), 64)
		if !ok || err != nil || err2 != nil {
			return nil, usagef("--volts %q: write supply=12.1, or a pixel's number, =, and the volts", part)
		}
		points = append(points, p)
	}
	return points, nil
}

func (f *diagnoseFlags) meterError(assumed diagnose.Meter) (diagnose.Meter, error) {
	if f.meter == "" {
		return assumed, nil
	}
	return diagnose.ParseMeter(f.meter)
}

// batches compares the readings in the record.
func (f *diagnoseFlags) batches(plan *config.Plan) ([]diagnose.Batch, diagnose.Answer, error) {
	if plan == nil {
		return nil, diagnose.Answer{}, usagef("--batch needs the PLAN, to know which strings are of one batch")
	}
	m, err := f.meterError(diagnose.AssumedClamp)
	if err != nil {
		return nil, diagnose.Answer{}, err
	}
	b, err := f.budget(plan)
	if err != nil {
		return nil, diagnose.Answer{}, err
	}
	dir, err := stateDir(f.state)
	if err != nil {
		return nil, diagnose.Answer{}, err
	}
	lines, _, err := record.Read(dir)
	if err != nil {
		return nil, diagnose.Answer{}, err
	}
	all := diagnose.Batches(plan, b, lines, m)
	return all, diagnose.BatchAnswer(all), nil
}
