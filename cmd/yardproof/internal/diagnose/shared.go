package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// Common is something that strings share.
type Common struct {
	What    string   `json:"what"`
	Dark    []string `json:"dark"`    // failed strings on it
	Working []string `json:"working"` // others on it, taken as working
	Test    string   `json:"test"`
	rank    int
}

// shared ranks what failed strings have in common: first what all of them are on
// and no working string is, the narrowest of those first. Strings that are not
// named are taken as working.
func shared(p *config.Plan, dark []string) ([]Common, Answer, error) {
	if _, err := known(p, dark); err != nil {
		return nil, Answer{}, err
	}
	if len(dark) == 0 {
		return nil, Answer{}, inputf("name the strings that are dark")
	}
	failed := map[string]bool{}
	for _, n := range dark {
		failed[n] = true
	}
	type element struct {
		what, test string
		rank       int // the narrower the lower
	}
	index := map[element]int{}
	var all []Common
	add := func(e element, s *config.String) {
		i, ok := index[e]
		if !ok {
			i = len(all)
			index[e] = i
			all = append(all, Common{What: e.what, Test: e.test, rank: e.rank})
		}
		on := &all[i].Working
		if failed[s.Name] {
			on = &all[i].Dark
		}
		if !slices.Contains(*on, s.Name) {
			*on = append(*on, s.Name)
		}
	}
	low, high := uint16(math.MaxUint16), uint16(0)
	for _, s := range p.Strings {
		if failed[s.Name] {
			low, high = min(low, s.Universe), max(high, s.Universe)
		}
	}
	all = append(all, brokenChains(p, failed)...)
	everything := len(failed) > 1 && len(failed) == len(p.Strings)
	for _, s := range p.Strings {
		if everything { // most "nothing lights" is the laptop
			add(element{"the transmitter, its interface and the cable from it", "yardproof runs, names the right interface, and its link is up. On a second machine, yardproof listen says what arrives", -1}, s)
		}
		if c := s.Controller; c != nil {
			add(element{"controller " + c.Name, "its power, its address, and whether its own test pattern lights", 4}, s)
			if s.Port != "" {
				add(element{fmt.Sprintf("port %s of %s", s.Port, c.Name), "the port with a known-good short string", 0}, s)
			}
			if s.Receiver != "" {
				link := fmt.Sprintf("link from port %s of %s", s.Port, c.Name)
				add(element{fmt.Sprintf("receiver %s on the %s", s.Receiver, link), "its power and the number it is set to", 1}, s)
				add(element{link, "the link cable, with one that is known to be good", 2}, s)
			}
		}
		for _, f := range s.Feeds {
			if f.Feeder != nil {
				add(element{"feeder " + f.Feeder.Name, "its fuse, and volts at its far end", 2}, s)
			}
			if f.Supply != nil {
				add(element{"supply " + f.Supply.Name, "volts at its output. The mains side is for a licensed person", 3}, s)
			}
		}
		if s.Universe >= low && s.Universe <= high {
			what := fmt.Sprintf("universes %d to %d", low, high)
			if low == high {
				what = fmt.Sprintf("universe %d", low)
			}
			add(element{what, "whether its packets arrive, with yardproof listen; and the controller's universe settings", 5}, s)
		}
		add(element{"chip " + s.Chip.Name, "the chip setting of the ports", 6}, s)
	}
	all = slices.DeleteFunc(all, func(c Common) bool { return len(c.Dark) < min(2, len(failed)) })
	slices.SortStableFunc(all, func(a, b Common) int {
		return cmp.Or(
			cmp.Compare(missed(a, len(failed))+len(a.Working), missed(b, len(failed))+len(b.Working)),
			cmp.Compare(missed(a, len(failed)), missed(b, len(failed))),
			cmp.Compare(a.rank, b.rank))
	})
	return all, sharedAnswer(all, len(failed)), nil
}

const jointRank = -1 // the narrowest there is

// brokenChains finds data lines on which every string is dark from one on that is
// not the first: what is broken is likely where that one begins.
func brokenChains(p *config.Plan, failed map[string]bool) []Common {
	chains := map[config.Line][]*config.String{}
	var lines []config.Line
	for _, s := range p.Strings {
		line := s.Line()
		if line.Port == "" {
			continue
		}
		if chains[line] == nil {
			lines = append(lines, line)
		}
		chains[line] = append(chains[line], s) // the plan has them in the order of their data
	}
	var found []Common
	for _, line := range lines {
		chain := chains[line]
		lit := slices.IndexFunc(chain, func(s *config.String) bool { return failed[s.Name] })
		if lit < 1 || slices.ContainsFunc(chain[lit:], func(s *config.String) bool { return !failed[s.Name] }) {
			continue
		}
		last, first := chain[lit-1], chain[lit]
		c := Common{
			What: fmt.Sprintf("the joint from %s to %s", last.Name, first.Name), rank: jointRank,
			Test: fmt.Sprintf("its plug, V+, return and data. %s works, so the port does too; the last pixel of %s or the first of %s may be at fault", last.Name, last.Name, first.Name),
		}
		for _, s := range chain[lit:] {
			c.Dark = append(c.Dark, s.Name)
		}
		found = append(found, c)
	}
	return found
}

func missed(c Common, failed int) int { return failed - len(c.Dark) }

func sharedAnswer(all []Common, failed int) Answer {
	a := Answer{Wrong: true, Basis: Practice, Caution: Caution, Causes: []string{}, Next: []string{}}
	if len(all) == 0 {
		a.Finding = "The dark strings have nothing of the plan in common."
		a.Causes = []string{"separate faults", "something that the plan does not name: a switch, a mains circuit, a cable run"}
		a.Next = []string{"Take them one at a time: yardproof diagnose --string NAME --last-lit 0 PLAN."}
		return a
	}
	best := all[0]
	where := "on"
	if best.rank == jointRank {
		where = "behind"
	}
	a.Finding = fmt.Sprintf("%d of %s %s %s; %s there.", len(best.Dark), textout.Count(failed, "dark string is", "dark strings are"), where, best.What, workingText(best.Working))
	for _, c := range all {
		cause := fmt.Sprintf("%s: %d of %d dark; %s", c.What, len(c.Dark), failed, workingText(c.Working))
		a.Causes = append(a.Causes, cause)
		if len(a.Next) < 3 && missed(c, failed) == 0 && len(c.Working) == 0 {
			a.Next = append(a.Next, fmt.Sprintf("Check %s: %s.", c.What, c.Test))
		}
	}
	switch {
	case len(a.Next) > 0:
	case failed == 1:
		a.Next = append(a.Next, fmt.Sprintf("Others work on all that %[1]s hangs on, so look at it alone: yardproof diagnose --string %[1]s --last-lit 0 PLAN.", best.Dark[0]))
	default:
		a.Next = append(a.Next, fmt.Sprintf("Check %s first: %s. Other strings on it work, so it may not be the cause.", best.What, best.Test))
	}
	return a
}

func workingText(names []string) string {
	switch len(names) {
	case 0:
		return "no other string works"
	case 1:
		return names[0] + " works"
	case 2, 3, 4:
		return textout.And(names) + " work"
	}
	return fmt.Sprintf("%d others work", len(names))
}
