package protection

import (
	"fmt"
	"sync"

	"yardproof/config"
	"yardproof/config/budget"
)

// New works out every string of a plan, on all cores.
func New(p *config.Plan, b *budget.Budget) *Report {
	parts := make([]Report, len(p.Strings)) // so that what is found stays in the plan's order
	var alike kinds
	budget.OnAllCores(len(parts), func() func(int) {
		var m memory
		return func(i int) { parts[i].line(p, b, i, &alike, &m) }
	})
	r := &Report{Findings: []Finding{}}
	for _, part := range parts {
		r.Strings = append(r.Strings, part.Strings...)
		r.Findings = append(r.Findings, part.Findings...)
		r.Twice = append(r.Twice, part.Twice...)
		r.Problems = append(r.Problems, part.Problems...)
		r.Notes = append(r.Notes, part.Notes...)
	}
	r.returns(p, b)
	r.mains(p)
	return r
}

// line works out one string.
func (r *Report) line(p *config.Plan, b *budget.Budget, i int, alike *kinds, m *memory) {
	s := p.Strings[i]
	w, ok := newWiring(p, b, i)
	if !ok {
		r.Notes = append(r.Notes, budget.Note{Where: p.Where(s.At("pitch")), What: fmt.Sprintf("string %s: its currents in a fault are not known: %s", s.Name, p.Ask("pitch", "amps_per_pixel", "supply"))})
		return
	}
	w.room, w.spare = &m.plus[0], &m.plus[1]
	out := alike.once(w.kind(), func() String {
		out := String{Worst: w.worst(m), Fuses: w.reaches()}
		for i := range out.Fuses {
			if reach := &out.Fuses[i]; reach.Unseen > 0 {
				reach.mend = w.seeing(*reach, out.Worst, m)
			}
		}
		if out.past = furthest(out.Worst); out.past != nil {
			out.mend = w.mend(*out.past, out.Worst, m)
		}
		out.twice = w.twice(out.Worst)
		return out
	})
	out.Name = s.Name
	r.Strings = append(r.Strings, out)
	if out.twice != nil {
		f := *out.twice
		f.String = s.Name
		r.Twice = append(r.Twice, f)
	}
	r.judge(p, w, out)
}

// kinds are the strings worked out so far: most plans hang many of one kind.
type kinds struct{ known sync.Map }

func (k *kinds) once(kind string, work func() String) String {
	once, ok := k.known.Load(kind)
	if !ok {
		once, _ = k.known.LoadOrStore(kind, sync.OnceValue(work))
	}
	return once.(func() String)()
}
