package belief

import (
	"math"
	"testing"
)

// Where pixels fade for want of volts, each draws what its volts leave it: what all of
// them draw is what the feeds give (Kirchhoff's first law). Plain passes swing between too
// much and too little there.
func TestFadingComesToRest(t *testing.T) {
	w := newWire(street(t, 2, 60))
	for _, c := range []change{{}, {feed: 1, lead: 1, lost: 0.1}, {feed: 1, lead: math.Inf(1), thin: 4.5}, {node: 30, ohms: 1.7, lost: 0.2}, {lost: 0.34}, {thin: 4.5, lost: 0.2}} {
		e := w.solve(c)
		drawn, given, faded := 0.0, 0.0, false
		for k := range w.load {
			drawn += w.idle[k]
		}
		for i, k := range w.node {
			follow := min(1, max(0, (e.volts[i]-w.zero)/(w.lowest-w.zero)))
			drawn += (w.load[k] - w.idle[k]) * follow
			faded = faded || follow < 0.99
		}
		for _, f := range e.feeds {
			given += f
		}
		if math.Abs(drawn-given) > 0.02*drawn || !faded && c.lost > 0.3 {
			t.Errorf("%+v: drawn %.3f A, given %.3f A", c, drawn, given)
		}
	}
}

// Whoever is sent up for a joint was told all that the ground tells before, and reads the
// volts on both sides before it is cut, where the ladder stands anyhow.
func TestMeasuredBeforeItIsCut(t *testing.T) {
	for feeds := range 2 {
		s := street(t, 2, 24)
		s.String = s.Plan.Strings[1-feeds] // of one feed, and of two
		w := newWire(s)
		bad := change{node: w.node[12], ohms: 1.2}
		e := w.solve(bad)
		looks := []Look{{Test: White, Sign: Fine}}
		done := func(all ...Look) bool {
			return (&model{Subject: s, looks: looks, wire: w}).undone(all) == nil
		}
		for range 30 {
			v, err := s.Weigh(looks)
			if err != nil {
				t.Fatal(err)
			}
			if v.Next == nil {
				if c := v.Causes[0]; c.Kind != Joint || c.Place != 12 || !done(Look{Test: Volts, Pixel: 12}, Look{Test: Volts, Pixel: 13}) {
					t.Errorf("%+v after %+v", v.Causes[:2], looks)
				}
				break
			}
			l := *v.Next
			if l.Test == Volts && l.Pixel > 0 && !done(Look{Test: Ends}, Look{Test: Bright}, Look{Test: Slots}, Look{Test: Volts}, Look{Test: Amps, Feed: feeds}) {
				t.Errorf("a ladder for %+v after %+v", l, looks)
			}
			looks = append(looks, w.meets(l, bad, e))
		}
		if v, _ := s.Weigh(looks); v.Next != nil {
			t.Errorf("no end: %+v", looks)
		}
	}
}

// meets is what is seen and read of a string on which something is changed.
func (w *wire) meets(l Look, c change, e *electric) Look {
	if l.First > 0 {
		c.lit = block{l.First, l.Last}
		e = w.solve(c)
	}
	c.unlit = true
	dark := w.solve(c)
	switch l.Sign = Fine; {
	case l.Test == Amps && l.Return:
		l.Value, l.Dark = e.returns[l.Feed], new(dark.returns[l.Feed])
	case l.Test == Amps:
		l.Value, l.Dark = e.feeds[l.Feed], new(dark.feeds[l.Feed])
	case l.Test == Volts && l.Pixel == 0:
		l.Value = 12
	case l.Test == Volts:
		l.Value = e.volts[l.Pixel-1]
	case l.Test == Bright:
		l.Sign, l.Pixel = w.lightOf(e)
	case l.Test == More:
		l.Sign = Nothing
	}
	return l
}
