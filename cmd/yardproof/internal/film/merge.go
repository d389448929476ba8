package film

import "slices"

// weight ranks verdicts of one pixel seen in two films: what was read counts before
// what was not, and a fault that one film shows stays, since another side may hide the
// die that does not light.
func (p Pixel) weight() float64 {
	switch p.Verdict {
	case NotSeen:
		return p.Confidence
	case Stuck:
		return 1 + p.Confidence // a lamp behind looks the same from one side
	case Good:
		return 2 + p.Confidence
	}
	return 3 + p.Confidence
}

// Merge joins results of films of the same plan, as from two sides: a pixel that one
// of them shows was seen.
func Merge(all ...*Result) *Result {
	out := *all[0]
	out.Pixels = slices.Clone(out.Pixels)
	out.Strings = slices.Clone(out.Strings)
	out.Films, out.stills = slices.Clone(out.Films), slices.Clone(out.stills)
	for _, r := range all[1:] {
		from := len(out.Films)
		out.Films, out.stills = append(out.Films, r.Films...), append(out.stills, r.stills...)
		for i, p := range r.Pixels {
			if old := &out.Pixels[i]; p.weight() > old.weight() || old.X == 0 && old.Y == 0 && p.Verdict == NotSeen {
				p.Film += from
				*old = p
			}
		}
		for i, s := range r.Strings {
			out.Strings[i] = out.Strings[i].with(s)
		}
	}
	seen := map[string]int{}
	for _, p := range out.Pixels {
		if p.Verdict != NotSeen && p.Verdict != Stuck {
			seen[p.String]++
		}
	}
	for i := range out.Strings {
		out.Strings[i].Seen = seen[out.Strings[i].Name]
	}
	return &out
}

// with joins what two films show of a string. What one film does not show the other
// may; so a finding that something is not seen stays only if both have it.
func (s String) with(o String) String {
	var all []Finding
	for _, f := range s.Findings {
		i := slices.IndexFunc(o.Findings, func(g Finding) bool { return g.Kind == f.Kind })
		if f.Sure || i >= 0 {
			if i >= 0 && !f.Sure && o.Findings[i].Count < f.Count {
				f = o.Findings[i]
			}
			all = append(all, f)
		}
	}
	for _, f := range o.Findings {
		if f.Sure && !slices.ContainsFunc(all, func(g Finding) bool { return g.Kind == f.Kind }) {
			all = append(all, f)
		}
	}
	if s.Findings = all; all == nil {
		s.Findings = []Finding{}
	}
	return s
}
