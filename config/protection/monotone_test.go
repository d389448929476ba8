package protection

import (
	"math/rand/v2"
	"slices"
	"testing"

	"yardproof/config"
)

// smaller and thicker are changes to any one thing of a string.
func smaller(r *rand.Rand) func(*config.String) {
	return func(s *config.String) {
		f := s.Feeds[r.IntN(len(s.Feeds))]
		f.FuseAmps *= 0.2 + 0.7*r.Float64()
	}
}

func thickerSomewhere(r *rand.Rand) func(*config.String) {
	return func(s *config.String) {
		at := spot{kind: onPitch}
		if r.IntN(2) == 0 {
			at = spot{kind: onLead, n: r.IntN(len(s.Feeds))}
		}
		thicken(s, at, 6+2*r.IntN(8))
	}
}

// TestSmallerFuseIsNeverWorse makes any fuse of random plans smaller: no piece carries more,
// in one fault or in two, and no short goes unseen that was seen.
func TestSmallerFuseIsNeverWorse(t *testing.T) {
	for seed := range uint64(*plans) {
		r := rand.New(rand.NewPCG(seed, 14))
		text := anyPlan(r)
		_, _, w := made(t, text)
		c := w.changed(smaller(r))
		before := map[spot]float64{}
		for _, p := range w.worst(new(memory)) {
			before[p.spot] = p.Amps
		}
		for _, p := range c.worst(new(memory)) {
			if p.Amps > before[p.spot]+1e-5 {
				t.Errorf("plan %d: %s (%s) %s carries %g A, before %g\n%s", seed, p.Place, p.Conductor, p.When, p.Amps, before[p.spot], text)
			}
		}
		noLessSeen(t, w, c)
	}
}

func noLessSeen(t *testing.T, w, c *wiring) {
	t.Helper()
	was := w.reaches()
	for i, r := range c.reaches() {
		if r.LeastAmps < was[i].LeastAmps-1e-9 || r.Unseen > 0 && was[i].Unseen == 0 {
			t.Errorf("feed at %s: a short draws %g A where it drew %g", r.At, r.LeastAmps, was[i].LeastAmps)
		}
	}
}

// TestThickerWireSeesNoLess makes a lead or the pitch of random plans thicker: no short draws
// less. What other wires carry may grow, since the current moves: that is why a mend is
// worked out anew.
func TestThickerWireSeesNoLess(t *testing.T) {
	for seed := range uint64(*plans) {
		r := rand.New(rand.NewPCG(seed, 15))
		_, _, w := made(t, anyPlan(r))
		noLessSeen(t, w, w.changed(thickerSomewhere(r)))
	}
}

// TestLowerLevelIsNeverWorse lights random plans at levels between dark and full white: no
// piece carries more than at the worse of the two.
func TestLowerLevelIsNeverWorse(t *testing.T) {
	var m memory
	for seed := range uint64(*plans) {
		text := anyPlan(rand.New(rand.NewPCG(seed, 16)))
		_, _, w := made(t, text)
		plus, minus := newRail(w, w.Cuts, nothing), newRail(w, nil, nothing)
		h := holds(plus, w)
		var most [2][]float64
		for i, level := range []float64{0, 1, 0.1, 0.25, 0.5, 0.75, 0.9} {
			loads := slices.Clone(w.White)
			for k := range loads {
				loads[k] *= level
			}
			x := m.worstCase(plus, minus, h, load{nodes: loads}, w.s.Volts)
			for rail := range 2 {
				most[rail] = append(most[rail], make([]float64, max(0, len(loads)-len(most[rail])))...)
				for k, c := range x.wire[rail] {
					if i < 2 {
						most[rail][k] = max(most[rail][k], c.amps)
					} else if c.amps > most[rail][k]*(1+1e-6)+1e-6 {
						t.Errorf("plan %d at %g: node %d of rail %d carries %g A, at most %g dark or white\n%s", seed, level, k, rail, c.amps, most[rail][k], text)
					}
				}
			}
		}
	}
}
