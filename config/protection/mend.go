package protection

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

const (
	noMend = "no single fuse, wire or connector was found that mends it: divide the string, each part with a feed of its own"
	local  = "; local codes prevail"
)

// changed is the string with other feeds, pitch or connectors, or another jumper. Node k
// keeps its place.
func (w *wiring) changed(change func(*config.String)) *wiring {
	s := *w.s
	s.Jumpers, s.Feeds = slices.Clone(s.Jumpers), slices.Clone(s.Feeds)
	for i, f := range s.Feeds {
		g := *f
		s.Feeds[i] = &g
	}
	change(&s)
	x := &wiring{Wiring: w.Wiring, s: &s, plan: w.plan, budget: w.budget, others: w.others, jumper: w.jumper, dark: w.dark, room: w.spare}
	if s.Pitch != w.s.Pitch || !slices.EqualFunc(s.Jumpers, w.s.Jumpers, func(a, b config.Jumper) bool { return a.Wire == b.Wire }) {
		pitch := budget.Ohms(w.s.Pitch, w.hangs()) - budget.Ohms(s.Pitch, w.hangs())
		x.Ohms = slices.Clone(x.Ohms)
		less := 0.0
		for k := 1; k < len(x.Ohms); k++ {
			less += pitch
			if j := w.jumper[k] - 1; j >= 0 {
				less += budget.Ohms(w.s.Jumpers[j].Wire, w.hangs()) - budget.Ohms(s.Jumpers[j].Wire, w.hangs())
			}
			x.Ohms[k] = max(x.Ohms[k]-less, x.Ohms[k-1]+leastOhms)
		}
	}
	x.join()
	return x
}

// mends reports whether a change rids the string of what was past its limit at a spot,
// and nothing else is further past its own than it was; no spot: only the latter.
func (c *wiring) mends(w *wiring, before []Piece, rid *spot, m *memory) bool {
	found := &m.trial
	found.one, found.most = true, sized(found.most, w.number(spot{rail: 2}))
	for _, p := range before {
		if rid == nil || p.spot != *rid {
			found.most[w.number(p.spot)] = p.over()
		}
	}
	found.all(c, m)
	return !found.worse
}

// mend finds what would bring the piece within its limit, and proves it by working the
// string out again.
func (w *wiring) mend(worst Piece, before []Piece, m *memory) string {
	at := worst.spot
	with := func(change func(*config.String)) bool {
		return w.changed(change).mends(w, before, &at, m)
	}
	low := slices.DeleteFunc(ratings(), func(rating float64) bool { return w.lowered(rating) == nil })
	// a smaller fuse is never worse
	if i := sort.Search(len(low), func(i int) bool { return with(w.lowered(low[i])) }); i < len(low) {
		return w.fuses(low[i])
	}
	if least := math.Ceil(worst.Amps / worst.holds); worst.Connector > 0 && least > worst.Connector && with(func(s *config.String) {
		if at.kind == onLead {
			s.Feeds[at.n].ConnectorAmps = least
		} else {
			s.ConnectorAmps = least
		}
	}) {
		return fmt.Sprintf("connectors for %.3g A there", least) + local
	}
	if at.kind == onFeeder {
		return noMend + local
	}
	of := [...]string{onPitch: "pitch", onJumper: "jumper", onLead: "lead"}[at.kind]
	if at.kind == onPitch && len(w.s.Jumpers) > 0 {
		of = "pitch and jumpers"
	}
	capped := "" // second best
	for _, awg := range gauges() {
		c := w.changed(func(s *config.String) { thicken(s, at, awg) })
		if over := c.overWhite(w, false); over && (capped != "" || c.overWhite(w, true)) || !c.mends(w, before, &at, m) {
			continue
		} else if text := fmt.Sprintf("%d AWG for its %s", awg, of); over {
			capped = text + " (full white is then capped by a fuse)" + local
		} else {
			return text + local
		}
	}
	if capped != "" {
		return capped
	}
	return noMend + local
}

// thicken changes the wire at a spot; the pitch's with the jumpers in it, which are of the
// same unless the plan says otherwise.
func thicken(s *config.String, at spot, awg int) {
	switch at.kind {
	case onLead:
		s.Feeds[at.n].Wire = thicker(s.Feeds[at.n].Wire, awg)
	case onPitch:
		s.Pitch = thicker(s.Pitch, awg)
	}
	for i := range s.Jumpers {
		if at.kind == onPitch || at.kind == onJumper && at.n == i {
			s.Jumpers[i].Wire = thicker(s.Jumpers[i].Wire, awg)
		}
	}
}

// lowered changes all greater fuses to a rating, and puts one where none is known; nil: there
// are none, or white is too much for it.
func (w *wiring) lowered(rating float64) func(*config.String) {
	white, any := w.white().feeds, false
	for i, f := range w.s.Feeds {
		if f.FuseAmps > rating || unfused(f) {
			any = true
			if white[i] > rating*w.share(i) {
				return nil
			}
		}
	}
	if !any {
		return nil
	}
	return func(s *config.String) {
		for _, f := range s.Feeds {
			if f.FuseAmps > rating || unfused(f) {
				f.FuseAmps = rating
			}
		}
	}
}

// fuses asks for smaller fuses, and names the feeds that have none.
func (w *wiring) fuses(rating float64) string {
	var bare []string
	for _, f := range w.s.Feeds {
		if unfused(f) {
			bare = append(bare, f.At)
		}
	}
	none := ""
	if len(bare) > 0 {
		none = fmt.Sprintf(" (none is known at %s: %s)", strings.Join(bare, ", "), w.plan.Ask("fuse_amps"))
	}
	return fmt.Sprintf("fuses of at most %g A on its feeds%s", rating, none) + local
}

// unfused reports whether no fuse is known on the way to a feed.
func unfused(f *config.Feed) bool {
	return f.FuseAmps <= 0 && (f.Feeder == nil || f.Feeder.FuseAmps <= 0)
}

// share is what part of its rating the fuse of a feed carries for long where it is, or one
// that would be put there.
func (w *wiring) share(feed int) float64 {
	f := *w.s.Feeds[feed]
	f.FuseAmps, f.FuseContinuousShare = 1, cmp.Or(f.FuseContinuousShare, 1)
	return w.budget.FuseForLong(w.s, &f)
}

// brings is what a string's feeds, as in the plan, and its feeders bring, in amperes.
type brings struct {
	feeds   []float64
	feeders map[*config.Feeder]float64
}

// white is what is brought at full white, either way.
func (w *wiring) white() *brings {
	if w.whole != nil {
		return w.whole
	}
	r := w.plus()
	st := r.loaded(load{nodes: w.White})
	w.whole = &brings{make([]float64, len(w.s.Feeds)), map[*config.Feeder]float64{}}
	for i, l := range r.leads {
		w.whole.feeds[l.feed] = math.Abs(st.leads[i])
	}
	for i, h := range r.feeders {
		w.whole.feeders[w.boxes[h.box]] = math.Abs(st.leads[len(r.leads)+i])
	}
	return w.whole
}

// overWhite reports whether a fuse of the changed string has more to carry at full white
// than it had, and more than it may for long; or, with the level capped, than its rating.
func (c *wiring) overWhite(w *wiring, capped bool) bool {
	const more = 1 + 1e-9
	was, is := w.white(), c.white()
	for i, amps := range is.feeds {
		if fuse := c.s.Feeds[i].FuseAmps; fuse > 0 && amps > was.feeds[i]*more && (amps > fuse || !capped && amps > fuse*c.share(i)) {
			return true
		}
	}
	for h, amps := range is.feeders {
		others := c.budget.Feeders[slices.Index(c.plan.Feeders, h)].FullWhiteAmps - was.feeders[h]
		if h.FuseAmps > 0 && amps > was.feeders[h]*more && (amps+others > h.FuseAmps || !capped && amps+others > c.budget.FeederForLong(h)) {
			return true
		}
	}
	return false
}

// seeing finds the fuse or the wire with which the fuse of a feed sees every short, and
// proves it by working the string out again.
func (w *wiring) seeing(reach Reach, before []Piece, m *memory) string {
	with := func(change func(*config.String)) bool {
		c := w.changed(change)
		r, ok := c.reach(reach.feed)
		return ok && r.Unseen == 0 && !c.overWhite(w, false) && c.mends(w, before, nil, m)
	}
	var ways []string
	if rating := fuseUpTo(reach.LargestFit); rating*w.share(reach.feed) >= w.white().feeds[reach.feed] && rating > 0 && rating < reach.FuseAmps &&
		with(func(s *config.String) { s.Feeds[reach.feed].FuseAmps = rating }) { // one ahead of the feeder's would see it as well
		ways = append(ways, fmt.Sprintf("a fuse of %g A", rating))
	}
	pitch := "lead and pitch"
	if len(w.s.Jumpers) > 0 {
		pitch = "lead, pitch and jumpers"
	}
	for _, of := range []string{"lead", pitch} {
		for _, awg := range gauges() {
			if with(func(s *config.String) {
				f := s.Feeds[reach.feed]
				if f.Wire = thicker(f.Wire, awg); of != "lead" {
					thicken(s, spot{kind: onPitch}, awg)
				}
			}) {
				return strings.Join(append(ways, fmt.Sprintf("%d AWG for its %s", awg, of)), " or ") + " would see it"
			}
		}
	}
	if len(ways) == 0 {
		return noMend
	}
	return ways[0] + " would see it"
}

// thicker is copper of a gauge in place of a wire, where that leads better.
func thicker(w config.Wire, awg int) config.Wire {
	t := w
	t.AWG, t.HasAWG, t.MM2, t.Milliohms, t.Metal = awg, true, 0, 0, config.Copper
	if budget.Ohms(t, 20) < budget.Ohms(w, 20) {
		return t
	}
	return w
}
