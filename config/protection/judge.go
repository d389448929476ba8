package protection

import (
	"fmt"

	"yardproof/config"
	"yardproof/config/budget"
)

// Ratings that blade fuses are commonly sold in, in amperes (common practice, no source).
func ratings() []float64 { return []float64{40, 30, 25, 20, 15, 10, 7.5, 7, 5, 4, 3, 2, 1} }

// fuseUpTo is the largest common rating of at most so many amperes; 0: none.
func fuseUpTo(amps float64) float64 {
	for _, r := range ratings() {
		if r <= amps*(1+1e-9) {
			return r
		}
	}
	return 0
}

func (r *Report) warn(p *config.Plan, at config.Mark, fix, format string, args ...any) {
	r.Problems = append(r.Problems, config.Problem{Severity: config.Warning, Where: p.Where(at), What: fmt.Sprintf(format, args...), Fix: fix})
}

// furthest is the piece furthest past its limit in one fault; nil: all are within.
func furthest(list []Piece) *Piece {
	var worst *Piece
	for i := range list {
		if p := &list[i]; !p.twice() && p.over() > 1 && (worst == nil || p.over() > worst.over()) {
			worst = p
		}
	}
	return worst
}

func (r *Report) judge(p *config.Plan, w *wiring, out String) {
	s := w.s
	if worst := out.past; worst != nil {
		how := ""
		if worst.Fault > 0 {
			how = fmt.Sprintf(" while a fault at pixel %d opens no fuse", worst.Fault)
		}
		if worst.When != "" {
			how += ", " + worst.When
		}
		r.warn(p, s.At("feeds"), out.mend,
			"string %s: its %s (%s) can carry %.2f A%s; %s",
			s.Name, worst.Place, worst.Conductor, worst.Amps, how, worst.bears())
	}
	if s.ConnectorAmps == 0 && len(w.White) > 2 {
		r.Notes = append(r.Notes, budget.Note{Where: p.Where(s.At("connector_amps")),
			What: fmt.Sprintf("string %s: what its connectors may carry is not known: set connector_amps", s.Name)})
	}
	for i, f := range s.Feeds {
		if f.FuseAmps <= 0 && (f.Feeder == nil || f.Feeder.FuseAmps <= 0) {
			r.Notes = append(r.Notes, budget.Note{Where: p.Where(f.Marks.At("fuse_amps")),
				What: fmt.Sprintf("string %s: a fault through its feed at %s is not judged, since no fuse is known: set fuse_amps", s.Name, f.At)})
			continue
		}
		supply, fuse, full := f.Supply, f.FuseAmps, supplyAmps(f.Supply)
		if full > 0 && fuse > full {
			r.warn(p, w.s.Feeds[i].Marks.At("fuse_amps"), fmt.Sprintf("fit a fuse of at most %.3g A, or a larger supply", orNone(fuseUpTo(full/p.Protection.ShortFactor), full/p.Protection.ShortFactor)),
				"string %s: supply %s gives %.3g A before it folds back; the %g A fuse at %s can never open", s.Name, supply.Name, full, fuse, f.At)
		}
	}
	for _, reach := range out.Fuses {
		if reach.Unseen == 0 {
			continue
		}
		fix := "use thicker wire, or feed it in more places; have it confirmed by a licensed person"
		if reach.mend != "" {
			fix = reach.mend + "; have it confirmed by a licensed person"
		}
		r.warn(p, s.At("feeds"), fix,
			"string %s: beyond pixel %d the %g A fuse at %s does not see a short: at pixel %d it draws %.2f A, %.3g A is needed",
			s.Name, reach.Unseen, reach.FuseAmps, reach.At, reach.LeastPixel, reach.LeastAmps, p.Protection.ShortFactor*reach.FuseAmps)
	}
}

// bears says what the piece may carry.
func (p Piece) bears() string {
	if p.Connector > 0 && (p.MayAmps <= 0 || p.Connector < p.MayAmps*stepFactor) {
		return fmt.Sprintf("its connectors may carry what a fuse of %.3g A lets through", p.Connector)
	}
	return fmt.Sprintf("it may carry what a fuse of %.3g A lets through", p.MayAmps)
}

func orNone(v, otherwise float64) float64 {
	if v > 0 {
		return v
	}
	return otherwise
}
