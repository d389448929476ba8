package record

import (
	"cmp"
	"slices"
)

// Standing is where a string stands: the later proof counts, the earlier ones are
// kept beside it.
type Standing struct {
	String   string
	Label    string          // the physical string that hangs there now
	Latest   *Line           // its latest proof; nil: unproved
	ByStage  map[Stage]*Line // its latest proof at each stage; "" when no stage was given
	Proofs   []Line          // all proofs of whatever hung there, the oldest first
	Replaced bool            // another string hung there before
}

// Standings works out where each string stands, sorted by name. A proof belongs to
// the physical string and to where it hangs: with another label, or after a
// replacement, the string is unproved. Its bench proof goes with its label.
func Standings(lines []Line) []Standing {
	type place struct {
		label    string
		since    int // its line: what came before is of another physical string
		replaced bool
	}
	places := map[string]*place{}
	for i, l := range lines {
		if l.String == "" || l.Kind != Proof && l.Kind != Replaced {
			continue
		}
		p := places[l.String]
		if p == nil {
			p = &place{}
			places[l.String] = p
		}
		switch {
		case l.Kind == Replaced:
			*p = place{label: l.Label, since: i, replaced: true}
		case l.Label != "" && p.label != "" && l.Label != p.label:
			*p = place{label: l.Label, since: i, replaced: true}
		case l.Label != "":
			p.label = l.Label
		}
	}
	standings := make(map[string]*Standing, len(places))
	hangs := map[string][]string{} // by label
	for name, p := range places {
		standings[name] = &Standing{String: name, Label: p.label, ByStage: map[Stage]*Line{}, Replaced: p.replaced}
		if p.label != "" {
			hangs[p.label] = append(hangs[p.label], name)
		}
	}
	for i := range lines {
		l := &lines[i]
		if l.Kind != Proof {
			continue
		}
		own := standings[l.String]
		own.Proofs = append(own.Proofs, *l)
		if p := places[l.String]; l.Label == "" && i >= p.since {
			own.count(l)
		}
		if l.Label != "" {
			for _, name := range hangs[l.Label] {
				if l.Stage == Bench || name == l.String && i >= places[name].since {
					standings[name].count(l)
				}
			}
		}
	}
	all := make([]Standing, 0, len(standings))
	for _, s := range standings {
		all = append(all, *s)
	}
	slices.SortFunc(all, func(a, b Standing) int { return cmp.Compare(a.String, b.String) })
	return all
}

// Outdated reports whether a plan's label says that another physical string hangs
// there by now.
func (s Standing) Outdated(label string) bool {
	return !s.Replaced && label != "" && s.Label != "" && s.Label != label
}

func (s *Standing) count(l *Line) {
	s.Latest = l
	s.ByStage[l.Stage] = l
}
