package protection

import (
	"cmp"
	"fmt"
	"math"

	"yardproof/config"
)

// What a supply's leaflet says, where the plan does not (common practice, no source).
const (
	usualEfficiency  = 0.85
	usualPowerFactor = 0.90 // with correction; supplies without have 0.5 to 0.65
	usualInrush      = 60.0 // A, cold
	usualLeakage     = 3.5  // mA, the most that a plugged device may have (IEC 60950-1 and its successor, from memory)

	breakerShare = 0.80 // continuous load (NEC 210.20(A), read as quoted by a breaker maker)
	leakageShare = 0.25 // of the RCD's rating; a note on BS 7671 531.3.2 (from an excerpt) allows 0.30
)

// Mains is one circuit with every supply at its full output.
type Mains struct {
	Name         string  `json:"name"`
	Supplies     int     `json:"supplies"`
	Amps         float64 `json:"amps"`
	LimitAmps    float64 `json:"limit_amps"` // of the breaker, for continuous load
	LeakageMA    float64 `json:"leakage_ma"`
	LimitMA      float64 `json:"limit_ma,omitempty"` // of the RCD; 0: not known
	InrushAmps   float64 `json:"inrush_amps"`        // all switched on at once
	InrushLimit  float64 `json:"inrush_limit_amps"`  // below which the breaker's curve does not trip at once
	SwitchAtOnce int     `json:"switch_at_once"`     // how many of the largest may be switched on together

	largestInrush float64 // of one supply
}

// curveFactor is the least multiple of its rating at which a breaker may trip at once
// (IEC 60898-1: B 3 to 5, C 5 to 10, D 10 to 20, from memory, unchecked).
func curveFactor(curve string) float64 {
	switch curve {
	case "C":
		return 5
	case "D":
		return 10
	}
	return 3
}

func (r *Report) mains(p *config.Plan) {
	for _, m := range p.Mains {
		out := Mains{Name: m.Name, Supplies: len(m.Supplies), LimitAmps: breakerShare * m.BreakerAmps, LimitMA: leakageShare * m.RCD,
			InrushLimit: curveFactor(m.Curve) * m.BreakerAmps}
		for _, s := range m.Supplies {
			out.Amps += s.Watts / (cmp.Or(s.Efficiency, usualEfficiency) * cmp.Or(s.PowerFactor, usualPowerFactor) * m.Volts)
			out.LeakageMA += cmp.Or(s.LeakageMilliamps, usualLeakage)
			inrush := cmp.Or(s.InrushAmps, usualInrush)
			out.InrushAmps += inrush
			out.largestInrush = max(out.largestInrush, inrush)
		}
		if out.largestInrush > 0 {
			out.SwitchAtOnce = int(out.InrushLimit / out.largestInrush * (1 + 1e-9))
		}
		r.Mains = append(r.Mains, out)
		r.judgeMains(p, m, out)
	}
}

// slower is the breaker's curve that bears the inrush of one supply at least.
func slower(m *config.Mains, out Mains) string {
	for _, curve := range []string{"C", "D"} {
		n := int(curveFactor(curve) * m.BreakerAmps / out.largestInrush * (1 + 1e-9))
		switch {
		case n == 0:
		case curveFactor(curve)*m.BreakerAmps >= out.InrushAmps:
			return "have a breaker of curve " + curve + " fitted"
		default:
			return fmt.Sprintf("have a breaker of curve %s fitted, and switch on %d at a time", curve, n)
		}
	}
	return "have an inrush limiter fitted ahead of them"
}

func (r *Report) judgeMains(p *config.Plan, m *config.Mains, out Mains) {
	const confirm = "; to be confirmed by an electrician"
	find := func(at string, amps, limit float64, mend, format string, args ...any) {
		what := "mains circuit " + m.Name + ": " + fmt.Sprintf(format, args...)
		r.find(p, m.At(at), Finding{Place: "mains circuit " + m.Name, Amps: amps, Limit: limit, What: what, Brief: "M" + what[1:] + ".", Mend: mend + confirm})
	}
	if out.Amps > out.LimitAmps {
		find("breaker_amps", out.Amps, out.LimitAmps, fmt.Sprintf("move supplies of %.1f A to another circuit", out.Amps-out.LimitAmps),
			"its supplies can take %.1f A, a breaker of %g A carries %.1f A for long", out.Amps, m.BreakerAmps, out.LimitAmps)
	}
	if out.LimitMA > 0 && out.LeakageMA > out.LimitMA {
		find("rcd_ma", out.LeakageMA/1000, out.LimitMA/1000, fmt.Sprintf("share them among %d circuits, each with its own RCD", int(math.Ceil(out.LeakageMA/out.LimitMA))),
			"its supplies may leak %.1f mA together; plan for %.1f mA on an RCD of %g mA, or it trips for no fault", out.LeakageMA, out.LimitMA, m.RCD)
	}
	if out.InrushAmps > out.InrushLimit {
		mend := fmt.Sprintf("switch on %d at a time", out.SwitchAtOnce)
		if out.SwitchAtOnce == 0 {
			mend = slower(m, out)
		}
		find("breaker_amps", out.InrushAmps, out.InrushLimit, mend,
			"switched on together its supplies may draw %.0f A for a moment; its breaker may trip from %.0f A on", out.InrushAmps, out.InrushLimit)
	}
}
