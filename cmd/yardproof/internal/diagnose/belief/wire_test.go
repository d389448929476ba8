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

// Whoever is sent up for a joint reads the volts on both sides of it before it is cut,
// where the ladder stands anyhow.
func TestMeasuredBeforeItIsCut(t *testing.T) {
	s := street(t, 2, 60)
	s.String = s.Plan.Strings[1] // one feed
	w := newWire(s)
	e := w.solve(change{node: w.node[20], ohms: 1})
	looks := []Look{{Test: White, Sign: Fine}}
	for range 30 {
		v, err := s.Weigh(looks)
		if err != nil {
			t.Fatal(err)
		}
		if v.Next == nil {
			if c := v.Causes[0]; c.Kind != Joint || c.Place != 20 {
				t.Errorf("%+v", v.Causes[:2])
			}
			for _, l := range []Look{{Test: Volts}, {Test: Volts, Pixel: 20}, {Test: Volts, Pixel: 21}} {
				if (&model{Subject: s, looks: looks, wire: w}).undone([]Look{l}) != nil {
					t.Errorf("%+v is not read: %+v", l, looks)
				}
			}
			return
		}
		l := *v.Next
		under := e
		if l.First > 0 {
			under = w.solve(change{node: w.node[20], ohms: 1, lit: block{l.First, l.Last}})
		}
		switch l.Sign = Fine; {
		case l.Test == Amps:
			l.Value, l.Dark = under.feeds[0], at(w.soundDark.feeds[0])
		case l.Test == Volts && l.Pixel == 0:
			l.Value = 12
		case l.Test == Volts:
			l.Value = under.volts[l.Pixel-1]
		case l.Test == Bright:
			l.Sign, l.Pixel = w.lightOf(e)
		case l.Test == More:
			l.Sign = Nothing
		}
		looks = append(looks, l)
	}
	t.Errorf("no end: %+v", looks)
}
