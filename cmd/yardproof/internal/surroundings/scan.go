package surroundings

import (
	"cmp"
	"context"
	"fmt"
	"net/netip"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// Scan returns, a line each, who else sends on our universes before we do, and
// whether one of them does it with our own CID.
func (s *Surroundings) Scan(ctx context.Context) (lines []string, sameCID bool) {
	if s.cfg.NoScan {
		return nil, false
	}
	report, err := listener.Scan(ctx, s.watchConfig(), scanLength)
	if err != nil {
		return []string{fmt.Sprintf("the search for other sources failed: %v", err)}, false
	}
	lines, sameCID = told(bySource(report.Competing))
	return lines, sameCID
}

// mostTold is how many sources are told of, a line each: anybody can make up more.
const mostTold = 10

// told says who else sends, the worst first, and whether one of them does it with
// our own CID.
func told(groups [][]listener.CompetingSource) (lines []string, sameCID bool) {
	rank := map[listener.Precedence]int{listener.Theirs: 1, listener.Tie: 2, listener.Ours: 3}
	worst := func(g []listener.CompetingSource) int {
		if g[0].SameCID {
			return 0
		}
		return rank[g[0].Precedence]
	}
	slices.SortStableFunc(groups, func(a, b []listener.CompetingSource) int { return cmp.Compare(worst(a), worst(b)) })
	for i, group := range groups {
		sameCID = sameCID || group[0].SameCID
		switch {
		case i < mostTold:
			lines = append(lines, describe(group))
		case i == mostTold:
			lines = append(lines, fmt.Sprintf("%s on our universes; the page names them", textout.Count(len(groups)-i, "more source sends", "more sources send")))
		}
	}
	return lines, sameCID
}

// bySource gathers what is of one source with one verdict.
func bySource(all []listener.CompetingSource) [][]listener.CompetingSource {
	type key struct {
		cid     sacn.CID
		address netip.Addr
		verdict listener.Precedence
	}
	index := map[key]int{}
	var groups [][]listener.CompetingSource
	for _, r := range all {
		k := key{r.CID, r.Address, r.Precedence}
		i, ok := index[k]
		if !ok {
			i = len(groups)
			index[k] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], r)
	}
	return groups
}

// describe says in one sentence what another source means for the yard.
func describe(group []listener.CompetingSource) string {
	r := group[0]
	where := fmt.Sprintf("universe %d", r.Universe)
	if n := len(group); n > 1 {
		where = fmt.Sprintf("universe %d and %d more", r.Universe, n-1)
	}
	who := fmt.Sprintf("%q at %s also sends on %s, with priority %d", r.Name, r.Address, where, r.Priority)
	switch {
	case r.SameCID:
		return fmt.Sprintf("%q at %s sends with this transmitter's own CID on %s: a second copy of it is running, and receivers take the two for one; stop one of them", r.Name, r.Address, where)
	case r.Precedence == listener.Theirs:
		return who + ", above ours: it wins, and those strings obey neither our dark nor our limits; stop that source first"
	case r.Precedence == listener.Tie:
		return who + ", the same as ours: either may win; stop that source"
	default:
		return who + ", below ours: ours wins, and theirs shows again when we stop"
	}
}
