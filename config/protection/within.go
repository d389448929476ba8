package protection

import (
	"fmt"

	"yardproof/config"
	"yardproof/config/budget"
)

// Within says why a string's wires are not protected; "" when nothing is past its
// limit. It is [New] for one string (index as in the plan), and looks for no mend: for
// those who try out many plans. What holds here is still to be judged by New.
func Within(p *config.Plan, b *budget.Budget, n int) string {
	s := p.Strings[n]
	w, ok := newWiring(p, b, n)
	if !ok {
		return "its currents in a fault are not known"
	}
	for _, f := range s.Feeds {
		if full := supplyAmps(f.Supply); full > 0 && f.FuseAmps > full {
			return fmt.Sprintf("supply %s gives %.3g A before it folds back; the %g A fuse at %s can never open", f.Supply.Name, full, f.FuseAmps, f.At)
		}
	}
	for _, r := range w.reaches() {
		if r.Unseen > 0 {
			return r.finding().What
		}
	}
	if worst := furthest(w.one(&memory{})); worst != nil {
		return worst.finding().What
	}
	return ""
}
