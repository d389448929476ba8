package diagnose

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// answered answers for strings that lit up for another: for each string that was
// asked to light, the one that was seen. It gives the corrected plan lines, in
// which the string that was seen takes the place that was asked.
func answered(p *config.Plan, seen map[string]string) (Answer, error) {
	byName, err := known(p, slices.Sorted(maps.Keys(seen)), slices.Sorted(maps.Values(seen)))
	if err != nil {
		return Answer{}, err
	}
	asked := map[string]string{} // the reverse
	for _, lit := range slices.Sorted(maps.Keys(seen)) {
		if first, twice := asked[seen[lit]]; twice {
			return Answer{}, inputf("%s was seen for both %s and %s: two strings get the same data, or one was misread", seen[lit], first, lit)
		}
		asked[seen[lit]] = lit
	}
	var moved []string // in the order of the plan
	for _, s := range p.Strings {
		if lit, ok := asked[s.Name]; ok && lit != s.Name {
			moved = append(moved, s.Name)
		}
	}
	if len(moved) == 0 {
		return Answer{Finding: "Every string showed its own number.", Causes: []string{}, Next: []string{}, Basis: Practice}, nil
	}
	a := Answer{Wrong: true, Basis: Practice, Caution: Caution, Causes: []string{"plugs, ports or universes swapped", "strings chained in the wrong order"}}
	var pairs, untested []string
	sizes := false
	for _, name := range moved {
		s, place := byName[name], byName[asked[name]]
		pairs = append(pairs, fmt.Sprintf("%s hangs where the plan has %s", name, place.Name))
		a.PlanLines = append(a.PlanLines, fmt.Sprintf("%s: %s: %s", p.Where(s.At("name")), name, address(place)))
		if _, ok := asked[place.Name]; !ok {
			untested = append(untested, place.Name)
		}
		sizes = sizes || s.Pixels*s.ChannelsPerPixel() != place.Pixels*place.ChannelsPerPixel() || s.Order != place.Order || s.Chip.Name != place.Chip.Name
	}
	a.Finding = "Swapped: " + strings.Join(pairs, ", ") + "."
	if len(untested) > 0 {
		a.Next = append(a.Next, "Find where "+textout.And(untested)+" is. Another string is in its place. Show number on it.")
	}
	a.Next = append(a.Next, "Swap the plugs at the controller (power off), or correct the plan. Do one of the two, not both.")
	if sizes {
		a.Next = append(a.Next, "They differ in pixels, order or chip. If you correct the plan, correct the settings of the ports too, and run yardproof plan to see if channels overlap.")
	}
	a.Next = append(a.Next, "Show number again on these strings. Only then is it proved.")
	return a, nil
}

// address is a string's place in the plan's own keys.
func address(s *config.String) string {
	var b strings.Builder
	if s.Controller != nil {
		fmt.Fprintf(&b, "controller: %s, ", s.Controller.Name)
	}
	for _, k := range []struct{ key, value string }{{"port", s.Port}, {"receiver", s.Receiver}, {"output", s.Output}} {
		if k.value != "" {
			fmt.Fprintf(&b, "%s: %s, ", k.key, k.value)
		}
	}
	fmt.Fprintf(&b, "universe: %d, channel: %d", s.Universe, s.Channel)
	return b.String()
}

// known finds strings by name, and says which there are when one is not there.
func known(p *config.Plan, names ...[]string) (map[string]*config.String, error) {
	byName := map[string]*config.String{}
	for _, s := range p.Strings {
		byName[s.Name] = s
	}
	for _, group := range names {
		for _, n := range group {
			if byName[n] == nil {
				return nil, inputf("the plan has no string %.60q; %s", n, p.NoString(n))
			}
		}
	}
	return byName, nil
}
