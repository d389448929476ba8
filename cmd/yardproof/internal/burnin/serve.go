package burnin

import (
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/config"
	"yardproof/sacn/source"
)

// carried returns the streams that carry each of the strings; none named: of all.
func carried(plan *config.Plan, names []string) map[string][]source.Destination {
	addr := plan.Map()
	of := map[string][]source.Destination{}
	for i, s := range plan.Strings {
		if names != nil && !slices.Contains(names, s.Name) {
			continue
		}
		for _, c := range addr.Strings[i].Copies {
			u := addr.Universes[c.Universe]
			if to := (source.Destination{Universe: u.Number, Unicast: u.Address}); !slices.Contains(of[s.Name], to) {
				of[s.Name] = append(of[s.Name], to)
			}
		}
	}
	return of
}

// serve credits each string with what went out on all of its universes; or with what
// arrived, where all of it is measured at the far end.
func (b *BurnIn) serve(spans []outage.Span) {
	became := make(map[source.Destination]outage.Span, len(spans))
	for _, sp := range spans {
		became[sp.Destination] = sp
	}
	for _, name := range b.names {
		s := b.progress.Strings[name]
		measured := true
		var frames uint64
		for i, to := range b.carried[name] {
			sp := became[to]
			s.Refused += sp.Failed
			b.progress.Refused += sp.Failed
			n := sp.Sent
			if sp.Measured {
				n = sp.Arrived
			} else {
				measured = false
			}
			if i == 0 || n < frames {
				frames = n
			}
		}
		s.Served += b.duration(frames)
		if measured {
			s.Measured += b.duration(frames)
		}
		b.progress.Strings[name] = s
	}
}

// duration is the time that a number of frames serves.
func (b *BurnIn) duration(frames uint64) Seconds {
	return Seconds(float64(frames) / b.cfg.Rate * float64(time.Second))
}

// behind returns the chosen strings that were served less than the best by more
// than a minute: their universes fail, or do not arrive.
func (b *BurnIn) behind() []string {
	var best Seconds
	for _, name := range b.names {
		best = max(best, b.progress.Strings[name].Served)
	}
	var list []string
	for _, name := range b.names {
		if best-b.progress.Strings[name].Served > Seconds(time.Minute) {
			list = append(list, name)
		}
	}
	return list
}
