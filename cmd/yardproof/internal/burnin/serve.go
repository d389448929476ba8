package burnin

import (
	"slices"
	"time"

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

// serve credits each string with what went out on all of its universes since the
// reading before; or with what arrived, where all of it is measured at the far end.
func (b *BurnIn) serve(before, now Reading) {
	sent, failed := difference(before, now)
	for _, name := range b.names {
		s := b.progress.Strings[name]
		measured := true
		var frames uint64
		for i, to := range b.carried[name] {
			n := sent[to]
			s.Refused += failed[to]
			b.progress.Refused += failed[to]
			arrived, ok := now.Arrived[to.Universe]
			if to.Unicast.IsValid() || !ok {
				measured = false
			} else if n = 0; arrived > before.Arrived[to.Universe] { // else the listener was started anew
				n = arrived - before.Arrived[to.Universe]
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

// difference is what became of packets between two readings, by stream.
func difference(before, now Reading) (sent, failed map[source.Destination]uint64) {
	sent, failed = map[source.Destination]uint64{}, map[source.Destination]uint64{}
	for _, st := range now.Streams {
		sent[st.Destination], failed[st.Destination] = st.Sent, st.Failed
	}
	for _, st := range before.Streams {
		sent[st.Destination] -= st.Sent
		failed[st.Destination] -= st.Failed
	}
	return sent, failed
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
