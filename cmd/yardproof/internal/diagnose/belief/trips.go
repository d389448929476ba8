package belief

import "slices"

// within is the reach of a ladder: what is done so many pixels from where it stands needs no other way
// up (common practice, no source).
const within = 2

// minutes is what a look takes; slots is the share of each cause at each place. A ladder
// that goes up there anyhow, for the repair, costs the look nothing.
func (m *model) minutes(l Look, slots []float64) float64 {
	switch {
	case l.Test == Later:
		return laterMinutes
	case l.Test == Watch:
		return watchMinutes
	case l.Test == Volts && l.Pixel > 0 && !m.stands(l.Pixel):
		return ladderMinutes*(1-m.bound(l.Pixel, slots)) + meterMinutes
	case l.Test == Volts, l.Test == Amps:
		return meterMinutes
	case l.Test == Heard:
		return 0.1
	case l.Test == Slots:
		return 3 * lookMinutes
	case l.Test == More:
		return 2 * lookMinutes
	}
	return lookMinutes
}

// stands reports whether the ladder stands at a pixel already: who reaches out from it
// does not move it.
func (m *model) stands(pixel int) bool {
	at := -within - 1
	for _, l := range m.looks {
		if l.Pixel > 0 && (l.Test == Volts || l.Test == Mended) && !near(l.Pixel, at, within) {
			at = l.Pixel
		}
	}
	return near(at, pixel, within)
}

func near(a, b, within int) bool { return max(a-b, b-a) <= within }

// bound is how likely the repair is at a pixel, or beside it.
func (m *model) bound(pixel int, slots []float64) float64 {
	sum := 0.0
	for i, p := range slots {
		if c := m.groupCause[m.slotGroup[i]]; c.ladder && near(m.workplace(i), pixel, within) {
			sum += p
		}
	}
	return min(1, sum)
}

// workplace is the pixel at which a cause is put right; a place nobody knows is far away.
func (m *model) workplace(slot int) int {
	if feed := m.groupFeed[m.slotGroup[slot]]; feed > 0 && m.wire != nil {
		return m.fedPixel(feed)
	}
	if p := m.slotPlace[slot]; p > 0 {
		return p
	}
	return -within - 1
}

// fedPixel is the lit pixel at which a feed (both from 1) joins.
func (m *model) fedPixel(feed int) int {
	at, _ := slices.BinarySearch(m.wire.node, m.wire.feeds[feed-1])
	return 1 + min(at, len(m.wire.node)-1)
}

// across is the volts on both sides of what is to be cut: who is up there measures before
// cutting, and nothing else tells as much about a place.
func (m *model) across(slots []float64) *Look {
	top := m.groups()[0]
	if top.share < 0.5 || m.wire == nil {
		return nil
	}
	var before []Look
	switch top.cause.Kind {
	case Joint, BrokenWire:
		at, _, _, _ := m.place(top)
		before = []Look{{Test: Volts, Pixel: at}, {Test: Volts, Pixel: min(at+1, m.String.Pixels)}}
	case LeadJoint:
		before = []Look{{Test: Volts, Pixel: m.fedPixel(top.feed)}}
	}
	return m.undone(before)
}

// ground is a look, or what can be seen and read from the ground before a ladder is
// carried for it.
func (m *model) ground(l *Look) *Look {
	if l.Test != Volts || l.Pixel == 0 || m.stands(l.Pixel) {
		return l
	}
	before := []Look{{Test: White}, {Test: Ends}, {Test: Bright}, {Test: Slots}, {Test: Volts}}
	for f := range m.String.Feeds {
		before = append(before, Look{Test: Amps, Feed: f})
	}
	if first := m.undone(before); first != nil {
		return first
	}
	return l
}

// undone is the first of some looks that was not done since something was put right.
func (m *model) undone(all []Look) *Look {
	for _, l := range all {
		if (m.wire != nil || signsOf[l.Test] != nil) && !slices.ContainsFunc(m.fresh(), l.is) {
			return &l
		}
	}
	return nil
}
