package burnin

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/outage"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/sacn/source"
)

// recordEvery is how often outages are put on record, beside the end.
const recordEvery = time.Hour

// Universe is what became of the packets to one destination: of those that arrived,
// where the far end is heard, else of those that the kernel took.
type Universe struct {
	Universe uint16     `json:"universe"`
	Unicast  netip.Addr `json:"unicast,omitzero"`
	Measured bool       `json:"measured"` // when last looked at, what arrives was heard
	Due      uint64     `json:"packets_due"`
	Missing  uint64     `json:"packets_missing"`
	Outage   Seconds    `json:"outage_seconds"`           // without any packet, in silences of over 2.5 s
	Recorded Seconds    `json:"outage_seconds_on_record"` // of them
}

// String writes it as a record does, with the time that it was without packets.
func (u Universe) String() string {
	text := fmt.Sprintf("universe %d", u.Universe)
	if u.Unicast.IsValid() {
		text += " to " + u.Unicast.String()
	}
	verb := "was sent no packet"
	if u.Measured {
		verb = "got no packet to the far end"
	}
	return fmt.Sprintf("%s %s for %s (%.3g %% missing)", text, verb, short(time.Duration(u.Outage)), 100*float64(u.Missing)/float64(max(u.Due, 1)))
}

// adoptUniverses lets those that carry the chosen strings go on with what is known of them.
func (b *BurnIn) adoptUniverses() {
	kept := map[source.Destination]Universe{}
	for _, u := range b.progress.Universes {
		kept[source.Destination{Universe: u.Universe, Unicast: u.Unicast}] = u
	}
	b.progress.Universes, b.universes = nil, map[source.Destination]int{}
	for _, name := range b.names {
		for _, to := range b.carried[name] {
			if _, ok := b.universes[to]; ok {
				continue
			}
			u := kept[to]
			u.Universe, u.Unicast = to.Universe, to.Unicast
			b.universes[to] = len(b.progress.Universes)
			b.progress.Universes = append(b.progress.Universes, u)
		}
	}
}

// account adds up what became of the chosen strings' packets.
func (b *BurnIn) account(spans []outage.Span) {
	var silent []uint16
	for _, sp := range spans {
		i, ok := b.universes[sp.Destination]
		if !ok {
			continue
		}
		u := &b.progress.Universes[i]
		u.Measured = sp.Measured
		u.Due += sp.Due
		u.Missing += sp.Missing
		u.Outage += Seconds(sp.Silent)
		if sp.Out {
			silent = append(silent, sp.Universe)
		}
	}
	slices.Sort(silent)
	silent = slices.Compact(silent)
	if !slices.Equal(silent, b.silent) {
		if len(silent) > 0 {
			b.cfg.Log.Warn("no packets for over 2.5 s", "on", textout.Numbered("universe", silent))
		} else {
			b.cfg.Log.Info("all universes have packets again")
		}
	}
	b.silent = silent
}

// recordOutages puts on record what came to outages since it last did. A burn-in whose
// strings never get their hours has no other line there.
func (b *BurnIn) recordOutages(now time.Time) {
	b.told = now
	var list []Universe
	for i := range b.progress.Universes {
		if u := &b.progress.Universes[i]; u.Outage > u.Recorded {
			u.Recorded = u.Outage
			list = append(list, *u)
		}
	}
	if len(list) == 0 {
		return
	}
	b.progress.Owed = append(b.progress.Owed, record.Line{
		Time: now, Kind: record.BurnIn, Plan: b.plan.Name, Note: "outages so far: " + worstOutages(list),
		Once: fmt.Sprintf("burn-in-outages-%d", now.UnixMilli()),
	})
}

// worstOutages tells of the longest ones.
func worstOutages(list []Universe) string {
	slices.SortStableFunc(list, func(a, b Universe) int { return cmp.Compare(b.Outage, a.Outage) })
	var parts []string
	for _, u := range list {
		parts = append(parts, u.String())
	}
	return textout.Some(parts, 8)
}

// outagesOf tells of those of one string.
func (b *BurnIn) outagesOf(name string) string {
	var list []Universe
	for _, to := range b.carried[name] {
		if u := b.progress.Universes[b.universes[to]]; u.Outage > 0 {
			list = append(list, u)
		}
	}
	if len(list) == 0 {
		return ""
	}
	return worstOutages(list) + "; "
}

// outages says in a few words how long universes were without packets.
func (p *Progress) outages() string {
	n, longest := 0, Seconds(0)
	for _, u := range p.Universes {
		if u.Outage > 0 {
			n++
			longest = max(longest, u.Outage)
		}
	}
	if n == 0 {
		return "no outage"
	}
	return fmt.Sprintf("%s without packets for up to %s", textout.Count(n, "universe"), short(time.Duration(longest)))
}
