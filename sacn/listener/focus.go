package listener

import (
	"context"
	"maps"
	"slices"
	"time"

	"yardproof/sacn"
)

// A universe that somebody asks about is listened to without a pause.
const (
	focusLength    = 10 * time.Second // after it was asked for last
	focusUniverses = 16               // the newest stay: a crowd of askers shall not join the whole network
	focusEvery     = 250 * time.Millisecond
)

// Focus listens to some universes of the transmitter's without a pause for ten
// seconds from now, so that another source on them is known within a second. Safe
// for concurrent use.
func (w *Watch) Focus(universes []uint16) {
	until := time.Now().Add(focusLength)
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, u := range universes {
		if slices.Contains(w.cfg.Universes, u) {
			w.focus[u] = until
		}
	}
}

// focused returns the universes in focus, ascending.
func (w *Watch) focused(now time.Time) []uint16 {
	w.mu.Lock()
	defer w.mu.Unlock()
	maps.DeleteFunc(w.focus, func(_ uint16, until time.Time) bool { return until.Before(now) })
	newest := slices.SortedFunc(maps.Keys(w.focus), func(a, b uint16) int {
		if d := w.focus[b].Compare(w.focus[a]); d != 0 {
			return d
		}
		return int(a) - int(b)
	})
	newest = newest[:min(len(newest), focusUniverses)]
	slices.Sort(newest)
	return newest
}

// follow keeps the universes in focus joined, and notes who is there.
func (w *Watch) follow(ctx context.Context) {
	var held *memberships
	var joined []uint16
	leave := func() {
		if held != nil {
			held.close()
		}
		held, joined = nil, nil
	}
	defer leave()
	tick := time.NewTicker(focusEvery)
	defer tick.Stop()
	var since time.Time // of the membership
	blind := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := time.Now()
		wanted := w.focused(now)
		if !slices.Equal(wanted, joined) {
			leave()
			if len(wanted) == 0 {
				continue
			}
			m, err := join(w.l.sock, w.l.ifi, w.cfg.IPv6, wanted)
			if err != nil {
				if !blind {
					w.log.Warn("the watch for other sources on the universes in view is blind", "err", err)
				}
				blind = true
				continue
			}
			blind = false
			held, joined, since = m, wanted, now
		}
		if len(joined) == 0 {
			continue
		}
		r := w.l.Snapshot()
		found := slices.DeleteFunc(competingSources(&r, w.cfg, now.Add(-sacn.DataLossTimeout)), func(c CompetingSource) bool {
			_, ok := slices.BinarySearch(joined, c.Universe)
			return !ok
		})
		quiet := now.Sub(since) > sacn.DataLossTimeout
		w.note(slices.DeleteFunc(slices.Clone(joined), func(u uint16) bool {
			// Silence says nothing before a steady source had time to be heard.
			return !quiet && !slices.ContainsFunc(found, func(c CompetingSource) bool { return c.Universe == u })
		}), found)
	}
}
