package listener

import (
	"cmp"
	"context"
	"log/slog"
	"maps"
	"net/netip"
	"slices"
	"sync"
	"time"

	"yardproof/sacn"
)

// WatchConfig says what a transmitter sends, and where.
type WatchConfig struct {
	Interface string
	IPv6      bool
	Universes []uint16 // that the transmitter sends on
	Own       sacn.CID
	Priority  uint8        // of the transmitter
	Log       *slog.Logger // nil: the default one
}

// Precedence says whose data a receiver follows, by priority (6.2.3).
type Precedence string

// The verdicts.
const (
	Ours   Precedence = "ours"
	Theirs Precedence = "theirs" // their priority is higher: whatever we send, dark and caps included, is not shown
	Tie    Precedence = "tie"    // what a receiver does then is its own affair
)

// CompetingSource is another source on a universe that we send on.
type CompetingSource struct {
	Universe   uint16
	CID        sacn.CID
	Name       string // clean
	Address    netip.Addr
	Priority   uint8
	Precedence Precedence
	SameCID    bool // it uses our own CID: a second copy of this transmitter
}

// Announcer is another source whose universe discovery was heard.
type Announcer struct {
	CID       sacn.CID
	Name      string // clean
	Address   netip.Addr
	Universes int      // that it says it sends on
	Shared    []uint16 // of them, those that we send on
	Seen      time.Time
}

// WatchReport is what is known of other sources.
type WatchReport struct {
	At         time.Time
	Competing  []CompetingSource // by universe, CID and address; receivers must choose
	Announcers []Announcer       // by name; heard within two discovery intervals
	Samples    uint64            // finished samples
}

// Scan listens for d to everything a transmitter is about to send on, before
// its first frame; two seconds show every steady source. A source that unicasts
// cannot be heard, whoever looks.
func Scan(ctx context.Context, cfg WatchConfig, d time.Duration) (WatchReport, error) {
	l, err := Open(Config{Interface: cfg.Interface, IPv6: cfg.IPv6, Universes: cfg.Universes, Log: cfg.Log})
	if err != nil {
		return WatchReport{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	if err := l.Run(ctx); err != nil {
		return WatchReport{}, err
	}
	r := l.Snapshot()
	return WatchReport{
		At: r.At, Competing: competingSources(&r, cfg, r.Since), Announcers: announcers(&r, cfg.Universes), Samples: 1,
	}, nil
}

// competingSources are the other sources on our universes that were heard since a time
// and are live.
func competingSources(r *Report, cfg WatchConfig, since time.Time) []CompetingSource {
	var out []CompetingSource
	for _, src := range r.Sources {
		for _, s := range src.Streams {
			if !s.Live || s.Preview || s.Last.Before(since) {
				continue
			}
			out = append(out, CompetingSource{
				Universe: s.Universe, CID: src.CID, Name: src.Name, Address: src.Address,
				Priority: s.Priority, Precedence: judge(cfg.Priority, s.Priority), SameCID: src.CID == cfg.Own,
			})
		}
	}
	slices.SortFunc(out, compareSources)
	return out
}

func compareSources(a, b CompetingSource) int {
	return cmp.Or(cmp.Compare(a.Universe, b.Universe), slices.Compare(a.CID[:], b.CID[:]), a.Address.Compare(b.Address))
}

func judge(ours, theirs uint8) Precedence {
	switch {
	case ours > theirs:
		return Ours
	case ours < theirs:
		return Theirs
	}
	return Tie
}

func announcers(r *Report, universes []uint16) []Announcer {
	var out []Announcer
	for _, src := range r.Sources {
		if !src.Announces || r.At.Sub(src.ListedAt) > 2*sacn.DiscoveryInterval {
			continue
		}
		a := Announcer{CID: src.CID, Name: src.Name, Address: src.Address, Universes: src.Announced.Len(), Seen: src.ListedAt}
		for _, u := range universes {
			if src.Announced.Has(u) {
				a.Shared = append(a.Shared, u)
			}
		}
		out = append(out, a)
	}
	return out
}

// How a watch samples: joining everything for ever would pull every stream of
// the network to this port.
const (
	sampleUniverses = 64
	sampleLength    = 2 * time.Second
	sampleInterval  = time.Minute
	newcomerLength  = time.Second     // how often it is asked whether somebody new says that he sends here
	newcomerGap     = 5 * time.Second // between samples on that account: a crowd shall not keep all joined
)

// Watch looks for other sources while a transmitter runs: on the discovery
// group always, on the data groups by a sample of two seconds a minute, and
// by one soon after somebody new announces universes of ours.
type Watch struct {
	cfg WatchConfig
	log *slog.Logger
	l   *Listener

	mu      sync.Mutex
	focus   map[uint16]time.Time // listened to without a pause until then
	others  map[otherKey]CompetingSource
	samples uint64
	next    int // in cfg.Universes

	announced map[announcerKey]bool // whose word was there when the last sample began
}

type announcerKey struct {
	cid     sacn.CID
	address netip.Addr
}

type otherKey struct {
	universe uint16
	cid      sacn.CID
	address  netip.Addr
}

// OpenWatch binds the socket and joins the discovery group.
func OpenWatch(cfg WatchConfig) (*Watch, error) {
	follow := new(UniverseSet)
	for _, u := range cfg.Universes {
		follow.Add(u)
	}
	l, err := openFor(Config{Interface: cfg.Interface, IPv6: cfg.IPv6, Except: cfg.Own, Log: cfg.Log}, follow)
	if err != nil {
		return nil, err
	}
	return &Watch{cfg: cfg, log: l.log, l: l, focus: make(map[uint16]time.Time), others: make(map[otherKey]CompetingSource)}, nil
}

// Run watches until ctx ends, and returns nil then.
func (w *Watch) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var beside sync.WaitGroup
	beside.Go(func() {
		for ctx.Err() == nil {
			begun := time.Now()
			w.sample(ctx)
			w.rest(ctx, begun)
		}
	})
	beside.Go(func() { w.follow(ctx) })
	err := w.l.Run(ctx)
	cancel()
	beside.Wait()
	return err
}

// rest waits until the next sample is due.
func (w *Watch) rest(ctx context.Context, begun time.Time) {
	tick := time.NewTicker(newcomerLength)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		switch since := time.Since(begun); {
		case since >= sampleInterval:
			return
		case since >= newcomerGap:
			r := w.l.Snapshot()
			if w.newcomer(announcers(&r, w.cfg.Universes)) {
				return
			}
		}
	}
}

// newcomer reports whether somebody announces universes of ours who did not when
// the last sample began.
func (w *Watch) newcomer(others []Announcer) bool {
	return slices.ContainsFunc(others, func(a Announcer) bool {
		return len(a.Shared) > 0 && !w.announced[announcerKey{a.CID, a.Address}]
	})
}

// chooseNow picks the universes of a sample by who announces what at present.
func (w *Watch) chooseNow() []uint16 {
	r := w.l.Snapshot()
	others := announcers(&r, w.cfg.Universes)
	w.announced = make(map[announcerKey]bool, len(others))
	for _, a := range others {
		w.announced[announcerKey{a.CID, a.Address}] = len(a.Shared) > 0
	}
	return w.choose(others)
}

// sample joins some universes for a while and notes who is there.
func (w *Watch) sample(ctx context.Context) {
	universes := w.chooseNow()
	held, err := join(w.l.sock, w.l.present(), w.cfg.IPv6, universes)
	if err != nil {
		w.log.Warn("the watch for other sources is blind this minute", "err", err)
		return
	}
	defer held.close()
	begun := time.Now()
	select {
	case <-ctx.Done():
		return
	case <-time.After(sampleLength):
	}
	r := w.l.Snapshot()
	w.note(universes, competingSources(&r, w.cfg, begun))
	w.mu.Lock()
	defer w.mu.Unlock()
	w.samples++
}

// choose picks the universes of a sample: first where others are known or say
// that they send, then the rest in turn.
func (w *Watch) choose(others []Announcer) []uint16 {
	w.mu.Lock()
	defer w.mu.Unlock()
	var chosen []uint16
	taken := new(UniverseSet)
	take := func(u uint16) {
		if len(chosen) < sampleUniverses && !taken.Has(u) {
			taken.Add(u)
			chosen = append(chosen, u)
		}
	}
	// Half is kept for the turn, so that no crowd of announcers can blind it.
	for _, r := range slices.SortedFunc(maps.Values(w.others), compareSources) {
		if len(chosen) < sampleUniverses/2 {
			take(r.Universe)
		}
	}
	for _, a := range others {
		for _, u := range a.Shared {
			if len(chosen) < sampleUniverses/2 {
				take(u)
			}
		}
	}
	for range w.cfg.Universes {
		if len(chosen) == sampleUniverses {
			break
		}
		take(w.cfg.Universes[w.next])
		w.next = (w.next + 1) % len(w.cfg.Universes)
	}
	return chosen
}

// mostNews is how many new sources of one sample are logged by name: anybody can
// make up more.
const mostNews = 10

// note replaces what was known of the sampled universes by what was found, and
// logs what is new.
func (w *Watch) note(universes []uint16, found []CompetingSource) {
	w.mu.Lock()
	defer w.mu.Unlock()
	known := maps.Clone(w.others)
	twins := make(map[netip.Addr]bool) // that were known
	for _, c := range known {
		if c.SameCID {
			twins[c.Address] = true
		}
	}
	for _, u := range universes {
		maps.DeleteFunc(w.others, func(k otherKey, _ CompetingSource) bool { return k.universe == u })
	}
	news := 0
	for _, r := range found {
		k := otherKey{r.Universe, r.CID, r.Address}
		before, ok := known[k]
		switch {
		case ok && before.Priority == r.Priority:
		case r.SameCID && !twins[r.Address]:
			twins[r.Address] = true
			w.log.Warn("another sender uses our CID: receivers take the two for one, and discard packets of either; give each machine its own --state",
				"universe", r.Universe, "name", r.Name, "address", r.Address, "cid", r.CID)
		case r.SameCID:
		default:
			if news++; news > mostNews {
				break
			}
			w.log.Warn("another source sends on a universe of ours", "universe", r.Universe, "name", r.Name,
				"address", r.Address, "cid", r.CID, "priority", r.Priority, "our_priority", w.cfg.Priority, "wins", r.Precedence)
		}
		w.others[k] = r
	}
	if news > mostNews {
		w.log.Warn("more other sources send on universes of ours", "more", news-mostNews)
	}
}

// Competing returns the other sources that are known now, by universe, then CID.
// Safe for concurrent use.
func (w *Watch) Competing() []CompetingSource {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.SortedFunc(maps.Values(w.others), compareSources)
}

// Snapshot returns what is known now. Safe for concurrent use.
func (w *Watch) Snapshot() WatchReport {
	r := w.l.Snapshot()
	w.mu.Lock()
	defer w.mu.Unlock()
	return WatchReport{
		At: r.At, Competing: slices.SortedFunc(maps.Values(w.others), compareSources),
		Announcers: announcers(&r, w.cfg.Universes), Samples: w.samples,
	}
}
