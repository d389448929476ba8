package protection

import (
	"fmt"
	"math"
	"slices"

	"yardproof/config"
	"yardproof/config/budget"
)

// A Finding is something that the plan does not bear, or that no fuse ends.
type Finding struct {
	String string  `json:"string,omitempty"` // "": it is of no string
	Place  string  `json:"place"`            // the piece of wire, the feed or the circuit
	Amps   float64 `json:"amps"`             // what it comes to
	Limit  float64 `json:"limit_amps"`       // and what it should not pass, or should reach to be seen
	What   string  `json:"what"`
	Brief  string  `json:"brief"` // what of it matters on the ladder
	Mend   string  `json:"mend"`
}

// Ladder is what matters on the ladder, with what mends it.
func (f Finding) Ladder() string { return f.Brief + " To mend it: " + f.Mend + "." }

// Near are findings and two faults at once that whoever works on a controller's strings meets:
// those of the strings, of the feeders that they hang on, and of the mains circuits of their
// supplies.
func (r *Report) Near(p *config.Plan, c *config.Controller) (one, two []Finding) {
	if r == nil {
		return nil, nil
	}
	strings, places, supplies := map[string]bool{}, map[string]bool{}, map[*config.Supply]bool{}
	for _, s := range p.Strings {
		if s.Controller != c {
			continue
		}
		strings[s.Name] = true
		for _, f := range s.Feeds {
			if supplies[f.Supply] = true; f.Feeder != nil {
				places["feeder "+f.Feeder.Name] = true
			}
		}
	}
	for _, m := range p.Mains {
		for _, s := range m.Supplies {
			if supplies[s] {
				places["mains circuit "+m.Name] = true
			}
		}
	}
	far := func(f Finding) bool {
		return f.String != "" && !strings[f.String] || f.String == "" && !places[f.Place]
	}
	return slices.DeleteFunc(slices.Clone(r.Findings), far), slices.DeleteFunc(slices.Clone(r.Twice), far)
}

// find records a finding and warns of it at its place in the plan.
func (r *Report) find(p *config.Plan, at config.Mark, f Finding) {
	what := f.What
	if f.String != "" {
		what = fmt.Sprintf("string %s: %s", f.String, what)
	}
	r.Findings = append(r.Findings, f)
	r.Problems = append(r.Problems, config.Problem{Severity: config.Warning, Where: p.Where(at), What: what, Fix: f.Mend})
}

// Briefs are what matters on the ladder, by the string's name; under "" what is of no
// string.
func (r *Report) Briefs() map[string][]string {
	of := map[string][]string{}
	if r == nil {
		return of
	}
	for _, f := range r.Findings {
		of[f.String] = append(of[f.String], f.Brief)
	}
	return of
}

func (r *Report) judge(p *config.Plan, w *wiring, out String) {
	s := w.s
	note := func(at config.Mark, format string, args ...any) {
		r.Notes = append(r.Notes, budget.Note{Where: p.Where(at), What: "string " + s.Name + ": " + fmt.Sprintf(format, args...)})
	}
	if out.past != nil {
		f := out.past.finding()
		f.String, f.Mend = s.Name, out.mend
		r.find(p, s.At("feeds"), f)
	}
	if s.ConnectorAmps == 0 && len(w.White) > 2 {
		note(s.At("connector_amps"), "what its connectors may carry is not known: %s", p.Ask("connector_amps"))
	}
	for i, f := range s.Feeds {
		at := f.Marks.At("fuse_amps")
		if unfused(f) {
			note(at, "its feed at %s is taken to have no fuse, since none is known: %s", f.At, p.Ask("fuse_amps"))
			continue
		}
		if full := supplyAmps(f.Supply); full > 0 && f.FuseAmps > full {
			r.find(p, at, Finding{
				String: s.Name, Place: "feed at " + f.At, Amps: full, Limit: f.FuseAmps,
				What:  fmt.Sprintf("supply %s gives %.3g A before it folds back; the %g A fuse at %s can never open", f.Supply.Name, full, f.FuseAmps, f.At),
				Brief: fmt.Sprintf("The %g A fuse at %s can never open: supply %s gives %.3g A.", f.FuseAmps, f.At, f.Supply.Name, full),
				Mend:  w.fitting(i, full),
			})
		}
	}
	for _, reach := range out.Fuses {
		if reach.Unseen > 0 {
			f := reach.finding()
			f.String = s.Name
			r.find(p, s.At("feeds"), f)
		}
	}
}

// returns finds what an open return does to those of other strings and feeders, which the
// budget has worked out; a string's own are said once.
func (r *Report) returns(p *config.Plan, b *budget.Budget) {
	past := map[string]bool{}
	for _, s := range r.Strings {
		past[s.Name] = s.past != nil
	}
	for _, x := range b.Returns {
		f := Finding{Place: x.Place, Amps: x.Amps, Limit: x.MayAmps, Mend: "a second return beside that of " + x.Open + ", on terminals of its own, so that one may open"}
		at, its := config.Mark{}, "its "+x.Place
		if x.Feeder >= 0 {
			h := p.Feeders[x.Feeder]
			f.Place = "feeder " + h.Name
			at, its = h.At("name"), f.Place
			if x.AWG > 0 {
				f.Mend = fmt.Sprintf("%d AWG for feeder %s, or %s", x.AWG, h.Name, f.Mend)
			}
			if x.ConnectorAmps > 0 && x.Amps > x.ConnectorAmps {
				f.Mend = fmt.Sprintf("connectors for %.3g A, and %s", math.Ceil(x.Amps), f.Mend)
			}
		} else {
			s := p.Strings[x.String]
			if past[s.Name] {
				continue
			}
			f.String, at = s.Name, s.At("feeds")
		}
		bears := "it may carry what a fuse of %.3g A lets through"
		if x.ConnectorAmps > 0 && (x.MayAmps <= 0 || x.ConnectorAmps < x.MayAmps*stepFactor) {
			f.Limit, bears = x.ConnectorAmps, "its connectors may carry what a fuse of %.3g A lets through"
		}
		f.What = fmt.Sprintf("%s (return) carries %.2f A at full white of every string while the return of %s is open, and no fuse is in its way; "+bears, its, f.Amps, x.Open, f.Limit)
		f.Brief = fmt.Sprintf("The %s (return) carries %.2f A when the return of %s is open, and no fuse opens. It is made for %.3g A.", f.Place, f.Amps, x.Open, f.Limit)
		f.Mend += local
		r.find(p, at, f)
	}
}

// finding says what is wrong with a piece that is past what it bears.
func (p Piece) finding() Finding {
	how, brief := "", fmt.Sprintf("The %s (%s) can carry %.2f A", p.Place, p.Conductor, p.Amps)
	if p.Fault > 0 {
		how = fmt.Sprintf(" while a fault at pixel %d opens no fuse", p.Fault)
		brief += fmt.Sprintf(" in a fault at pixel %d, and no fuse opens", p.Fault)
	}
	if p.When != "" {
		how += ", " + p.When
		brief += " " + p.When
	}
	limit, bears := p.MayAmps, fmt.Sprintf("it may carry what a fuse of %.3g A lets through", p.MayAmps)
	if p.Connector > 0 && (p.MayAmps <= 0 || p.Connector < p.MayAmps*stepFactor) {
		limit, bears = p.Connector, fmt.Sprintf("its connectors may carry what a fuse of %.3g A lets through", p.Connector)
	}
	return Finding{
		Place: p.Place, Amps: p.Amps, Limit: limit,
		What:  fmt.Sprintf("its %s (%s) can carry %.2f A%s; %s", p.Place, p.Conductor, p.Amps, how, bears),
		Brief: fmt.Sprintf("%s. It is made for %.3g A.", brief, limit),
	}
}

// finding says which shorts a fuse does not see.
func (r Reach) finding() Finding {
	return Finding{
		Place: "feed at " + r.At, Amps: r.LeastAmps, Limit: r.NeededAmps,
		What: fmt.Sprintf("beyond pixel %d the %g A fuse at %s does not see a short: at pixel %d it draws %.2f A, %.3g A is needed",
			r.Unseen, r.FuseAmps, r.At, r.LeastPixel, r.LeastAmps, r.NeededAmps),
		Brief: fmt.Sprintf("The %g A fuse at %s does not see a short beyond pixel %d.", r.FuseAmps, r.At, r.Unseen),
		Mend:  r.mend + "; have it confirmed by a licensed person",
	}
}

// fitting is the fuse that a supply of so many amperes opens soon, if white leaves one.
func (w *wiring) fitting(feed int, full float64) string {
	larger := fmt.Sprintf("a supply that gives %.3g A", w.plan.Protection.ShortFactor*w.s.Feeds[feed].FuseAmps)
	if fuse := fuseUpTo(full / w.plan.Protection.ShortFactor); fuse*w.share(feed) >= w.white().feeds[feed] && fuse > 0 {
		return fmt.Sprintf("fit a fuse of at most %g A, or %s", fuse, larger)
	}
	return "fit " + larger
}
