package web

import (
	"maps"
	"net/netip"
	"slices"
	"sync"
	"time"
)

// guesses counts wrong tokens: each address may try ten a minute, so that who tries
// more shuts out nobody else.
type guesses struct {
	mu   sync.Mutex
	past map[netip.Addr][]time.Time // of the last minute
}

const (
	maxGuesses  = 10
	maxGuessers = 1024 // addresses that are remembered; a token has 128 bits, whoever forgets
)

// try takes one guess, or says how long to wait for one.
func (g *guesses) try(from netip.Addr) (wait time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	old := func(at time.Time) bool { return now.Sub(at) >= time.Minute }
	past := slices.DeleteFunc(g.past[from], old)
	if len(past) >= maxGuesses {
		return time.Minute - now.Sub(past[0])
	}
	if len(g.past) >= maxGuessers {
		maps.DeleteFunc(g.past, func(_ netip.Addr, past []time.Time) bool { return old(past[len(past)-1]) })
	}
	if g.past == nil || len(g.past) >= maxGuessers {
		g.past = map[netip.Addr][]time.Time{}
	}
	g.past[from] = append(past, now)
	return 0
}

// right forgets the guesses of an address that has just brought a good token.
func (g *guesses) right(from netip.Addr) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.past, from)
}
