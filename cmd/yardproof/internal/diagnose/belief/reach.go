package belief

import (
	"slices"

	"yardproof/config"
)

// reach is what a cause belongs to: it touches the other strings that hang on it too.
type reach int

const (
	ofString reach = iota
	ofSupply
	ofFeeder
	ofController
	ofLink     // the receivers behind one port
	ofReceiver // the outputs of one of them
	ofUniverse
	ofBatch // strings of one batch: chip, volts and amps of a pixel are the same
	reaches
)

// own is how likely another string shows a fault of its own, and bypassed how likely one
// that hangs on it by a part of its feeds does as this one does: it is lit by the others
// (common practice, no source).
const own, bypassed = 0.03, 0.2

// around is how likely it is that other strings did what they did.
func (m *model) around(h *hypothesis, l Look) float64 {
	if len(l.Others) == 0 || l.Sign == Fine {
		return 1
	}
	p := 1.0
	for _, o := range l.Others {
		wrong := max(own, h.cause.spread*m.touches(h.cause.reach, h.feed, m.Plan.Strings[o.Index]))
		if o.Wrong {
			p *= wrong
		} else {
			p *= 1 - wrong
		}
	}
	return max(p, unlikely)
}

// touches is which share of another string hangs on what a cause belongs to, as far as
// light shows it; feed counts from 1, 0: the first.
func (m *model) touches(r reach, feed int, o *config.String) float64 {
	s := m.String
	first := s.Feeds[max(0, feed-1)]
	same := false
	switch r {
	case ofController:
		same = o.Controller == s.Controller
	case ofLink:
		same = o.Receiver != "" && o.Controller == s.Controller && o.Port == s.Port
	case ofReceiver:
		same = o.Receiver != "" && o.Controller == s.Controller && o.Port == s.Port && o.Receiver == s.Receiver
	case ofUniverse:
		same = o.Universe == s.Universe
	case ofBatch:
		same = m.batch(o) == m.batch(s)
	case ofSupply:
		return fedBy(o, func(f *config.Feed) bool { return f.Supply != nil && f.Supply == first.Supply })
	case ofFeeder:
		return fedBy(o, func(f *config.Feed) bool { return f.Feeder != nil && f.Feeder == first.Feeder })
	}
	return one(same)
}

// fedBy is 1 where a string has no other feed than those, and little where others keep it lit.
func fedBy(o *config.String, by func(*config.Feed) bool) float64 {
	n := 0
	for _, f := range o.Feeds {
		if by(f) {
			n++
		}
	}
	switch n {
	case 0:
		return 0
	case len(o.Feeds):
		return 1
	}
	return bypassed
}

// batch is what strings of one make have in common.
type batch struct {
	chip        string
	volts, amps float64
}

func (m *model) batch(s *config.String) batch {
	amps := s.AmpsPerPixel
	if m.Budget != nil {
		amps = m.Budget.Strings[s.Index].Chip.AmpsPerPixel
	}
	return batch{s.Chip.Name, s.Volts, amps}
}

// opened are the feeds that a cause takes from the string, a bit each.
func (m *model) opened(h *hypothesis) (bits uint64) {
	if h.feed == 0 {
		return 0
	}
	of := m.String.Feeds[h.feed-1]
	for i, f := range m.String.Feeds {
		if h.cause.Kind == OpenFeeder && f.Feeder == of.Feeder || h.cause.Kind == SupplyOff && f.Supply == of.Supply {
			bits |= 1 << i
		}
	}
	return bits
}

// firstOn are the first feeds of what several may share, from 1; what is nil is shared by none.
func firstOn[T comparable](s *config.String, of func(*config.Feed) T) (feeds []int) {
	var none T
	var seen []T
	for i, f := range s.Feeds {
		if x := of(f); x != none && !slices.Contains(seen, x) {
			seen = append(seen, x)
			feeds = append(feeds, i+1)
		}
	}
	return feeds
}

// laidFor reports whether the plan has what a cause belongs to: what no other string hangs on
// is thought of as the string's own.
func (m *model) laidFor(c *cause) bool {
	sisters := 0
	for _, o := range m.Plan.Strings {
		if o != m.String && m.touches(c.reach, 0, o) > 0 {
			sisters++
		}
	}
	switch c.reach {
	case ofLink, ofReceiver:
		return m.String.Receiver != ""
	case ofUniverse:
		return sisters > 0
	case ofBatch:
		return sisters > 1 && sisters < len(m.Plan.Strings)-1
	}
	return true
}
