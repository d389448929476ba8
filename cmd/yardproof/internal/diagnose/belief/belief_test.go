package belief

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// street is a plan of so many strings like those of a yard; the first has two feeds.
func street(t testing.TB, many, pixels int) *Subject {
	t.Helper()
	var b strings.Builder
	b.WriteString("name: street\ncontrollers: [{name: quay, on_loss: dark}, {name: gable, on_loss: dark}]\nsupplies: [{name: a, volts: 12, watts: 600}, {name: b, volts: 12, watts: 600}]\nstrings:\n")
	for i := range many {
		at, supply, feeds := "quay", "a", ", {at: end, awg: 16, metres: 5}"
		if i%2 == 1 {
			at, supply, feeds = "gable", "b", ""
		}
		fmt.Fprintf(&b, "  - {name: s%d, controller: %s, port: %d, universe: %d, pixels: %d, order: RGB, chip: ws2811, amps_per_pixel: 0.05, supply: %s, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 2}%s]}\n",
			i, at, i/2+1, i+1, pixels, supply, feeds)
	}
	p, problems := config.Load("street.yaml", strings.NewReader(b.String()))
	for _, e := range problems {
		if e.Severity == config.Error {
			t.Fatal(e)
		}
	}
	return &Subject{Plan: p, Budget: budget.New(p), String: p.Strings[0], Lit: light.Lit{Pattern: patterns.FullWhite, Level: 0.5}, Volt: config.Meter{Share: 0.005, Fixed: 0.03}}
}

// What every look says by itself or with one more: common practice, no source.
func TestWeigh(t *testing.T) {
	s := street(t, 4, 60)
	same := []Other{{1, false}, {2, true}, {3, false}}
	for _, c := range []struct {
		name  string
		looks []Look
		want  Kind
		place int
	}{
		{"a dark pixel", []Look{{Test: White, Sign: DarkOne, Pixel: 20}, {Test: Ends, Sign: DarkOne, Pixel: 20}}, DeadPixel, 21},
		{"dark from the middle on", []Look{{Test: White, Sign: DarkTail, Pixel: 25}, {Test: Ends, Sign: DarkTail, Pixel: 25}, {Test: Slots, Sign: Fine}}, BrokenData, 25},
		{"the last three are dark", []Look{{Test: White, Sign: DarkTail, Pixel: 57}, {Test: Ends, Sign: DarkTail, Pixel: 57}}, Count, 0},
		{"other colours", []Look{{Test: White, Sign: Fine}, {Test: Slots, Sign: Another}, {Test: Ends, Sign: Colours}}, Order, 0},
		{"the far end first", []Look{{Test: White, Sign: Fine}, {Test: Ends, Sign: Backward}, {Test: Slots, Sign: Fine}}, Direction, 0},
		{"another string answers", []Look{{Test: Alone, Sign: Another}, {Test: White, Sign: Fine}}, Swapped, 0},
		{"all of a controller dark, with volts", []Look{{Test: White, Sign: AllDark, Others: same}, {Test: Volts, Value: 12}, {Test: Dark, Sign: Fine}}, Delivery, 0},
		{"all of a supply dark, without volts", []Look{{Test: White, Sign: AllDark, Others: same}, {Test: Volts, Value: 0}}, SupplyOff, 0},
		{"another sender", []Look{{Test: Heard, Sign: Another}, {Test: White, Sign: Pictures}}, Second, 0},
		{"it sparkles alike at every level", []Look{{Test: White, Sign: Noise}, {Test: More, Sign: Fine}}, DataLead, 0},
		{"it sparkles when it is bright", []Look{{Test: White, Sign: Noise}, {Test: More, Sign: Another}}, Bond, 0},
		{"one feed gives nothing", []Look{{Test: White, Sign: Fine}, {Test: Amps, Feed: 1, Value: 0, Dark: new(0.0)}}, OpenFeed, 0},
		{"it sparkles from one place on", []Look{{Test: White, Sign: NoiseTail, Pixel: 24}, {Test: Watch, Sign: NoiseTail, Pixel: 20}}, WetJoint, 20},
		{"what is left when a break was mended", []Look{{Test: White, Sign: DarkTail, Pixel: 25}, {Test: Mended, Cause: BrokenData, Pixel: 25}, {Test: White, Sign: DarkOne, Pixel: 40}, {Test: Ends, Sign: DarkOne, Pixel: 40}}, DeadPixel, 41},
		{"a break that was not there", []Look{{Test: White, Sign: DarkTail, Pixel: 57}, {Test: Mended, Cause: BrokenData, Pixel: 57}, {Test: White, Sign: DarkTail, Pixel: 57}}, Count, 0},
		{"its own test draws as much in the dark", []Look{{Test: White, Sign: Pictures}, {Test: Heard, Sign: Fine}, {Test: Dark, Sign: Noise}, {Test: Amps, Value: 0.52, Dark: new(0.5)}, {Test: Amps, Feed: 1, Value: 0.5, Dark: new(0.5)}}, OwnTest, 0},
		{"another chip's noise does too", []Look{{Test: White, Sign: Noise}, {Test: More, Sign: Fine}, {Test: Watch, Sign: Noise}, {Test: Amps, Value: 0.62, Dark: new(0.6)}, {Test: Amps, Feed: 1, Value: 0.6, Dark: new(0.61)}}, ChipType, 0},
		{"after multicast has stopped nothing is read of white", []Look{{Test: White, Sign: Fine}, {Test: Ends, Sign: Fine}, {Test: Slots, Sign: Fine}, {Test: Later, Sign: Colours, Others: same}, {Test: Amps, Feed: 1, Value: 0.2, Dark: new(0.2)}}, Multicast, 0},
		{"dark after ten minutes, without volts", []Look{{Test: White, Sign: Fine}, {Test: Later, Sign: AllDark, Others: same}, {Test: Volts, Value: 0}}, HotSupply, 0},
		{"dark after ten minutes, with volts", []Look{{Test: White, Sign: Fine}, {Test: Later, Sign: AllDark, Others: same}, {Test: Volts, Value: 12}}, Multicast, 0},
		{"dark after ten minutes", []Look{{Test: White, Sign: Fine}, {Test: Later, Sign: AllDark, Others: same}}, HotSupply, 0},
	} {
		v, err := s.Weigh(c.looks)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		first := v.Causes[0]
		if c.want == HotSupply && first.Kind == Multicast { // the two look alike
			continue
		}
		if first.Kind != c.want || c.place != 0 && first.Place != c.place || first.Text == "" {
			t.Errorf("%s: %+v", c.name, v.Causes[:min(3, len(v.Causes))])
		}
	}
}

// What a look cannot tell apart is asked next: a supply that tripped has no volts, a
// controller without data has them.
func TestVoltsAfterTheTrip(t *testing.T) {
	s := street(t, 4, 20)
	same := []Other{{1, false}, {2, true}, {3, false}}
	looks := []Look{{Test: White, Sign: Fine, Others: []Other{{1, false}, {2, false}, {3, false}}}, {Test: Ends, Sign: Fine}, {Test: Slots, Sign: Fine}, {Test: Alone, Sign: Fine}, {Test: Later, Sign: AllDark, Others: same}}
	v, err := s.Weigh(looks)
	if err != nil || v.Next == nil || v.Next.Test != Volts || v.Next.Pixel != 0 {
		t.Errorf("%+v, %+v, %v", v.Next, v.Causes[:2], err)
	}
}

// Nothing lights: no other level of white is asked for.
func TestDarkAtEveryLevel(t *testing.T) {
	s := street(t, 4, 20)
	looks := []Look{{Test: White, Sign: AllDark, Others: []Other{{1, false}, {2, true}, {3, false}}}}
	for range 8 {
		v, err := s.Weigh(looks)
		if err != nil {
			t.Fatal(err)
		}
		if v.Next == nil || v.Next.Test == Volts {
			return
		}
		if v.Next.Test == Bright || v.Next.Test == Low || v.Next.Test == More {
			t.Fatalf("%s is asked for after %+v", v.Next.Test, looks)
		}
		looks = append(looks, Look{Test: v.Next.Test, Sign: map[Test]Sign{Alone: Nothing, Slots: Nothing, Ends: AllDark}[v.Next.Test], Feed: v.Next.Feed, Dark: new(0.0)})
		if l := &looks[len(looks)-1]; l.Sign == "" {
			l.Sign = Fine
		}
	}
}

// A place that stands out is named, however thinly the rest is spread; else a range is.
func TestPlaceInWords(t *testing.T) {
	s := street(t, 4, 60)
	for _, c := range []struct {
		looks []Look
		says  string
	}{
		{[]Look{{Test: White, Sign: DarkTail, Pixel: 25}}, "between pixels 25 and 26:"},
		{[]Look{{Test: White, Sign: NoiseTail, Pixel: 25}}, "its place is not known better"},
	} {
		v, err := s.Weigh(c.looks)
		if err != nil || !strings.Contains(v.Causes[0].Text, c.says) {
			t.Errorf("%+v: %+v, %v", c.looks, v.Causes[0], err)
		}
	}
}

// Two faults at once are both named, since neither explains what the other shows.
func TestTwoFaults(t *testing.T) {
	v, err := street(t, 4, 60).Weigh([]Look{{Test: White, Sign: DarkOne, Pixel: 20}, {Test: Slots, Sign: Another}, {Test: Bright, Sign: DarkOne, Pixel: 20}})
	if err != nil {
		t.Fatal(err)
	}
	two := []Kind{v.Causes[0].Kind, v.Causes[1].Kind}
	if !slices.Contains(two, DeadPixel) || !slices.Contains(two, Order) || v.Causes[1].Share < 0.25 {
		t.Errorf("%+v", v.Causes[:3])
	}
}

// A string that looks and reads as it should is told to be sound, and only after the
// looks that are wanted for it.
func TestSound(t *testing.T) {
	s := street(t, 2, 30)
	e, _ := light.Expected(s.Budget, s.String, s.Lit, 0)
	dark, _ := light.Expected(s.Budget, s.String, light.Lit{Pattern: patterns.Dark}, 0)
	var looks []Look
	for range 30 {
		v, err := s.Weigh(looks)
		if err != nil {
			t.Fatal(err)
		}
		if v.Next == nil {
			if !v.Well || !slices.ContainsFunc(looks, Look{Test: Later}.is) || !slices.ContainsFunc(looks, Look{Test: Amps, Feed: 1}.is) {
				t.Errorf("%+v after %v", v, looks)
			}
			return
		}
		l := *v.Next
		l.Sign = Fine
		switch {
		case l.Test == Amps && l.First == 0:
			l.Value, l.Dark = e.Feeds[l.Feed], new(dark.Feeds[l.Feed])
		case l.Test == Amps:
			u := light.Lit{Pattern: patterns.Block, Options: patterns.Options{First: l.First, Last: l.Last}, Level: s.Lit.Level}
			under, _ := light.Expected(s.Budget, s.String, u, 0)
			l.Value, l.Dark = under.Feeds[l.Feed], new(dark.Feeds[l.Feed])
		case l.Test == Volts && l.Pixel == 0:
			l.Value = 12
		case l.Test == Volts:
			l.Value = e.Volts[l.Pixel-1]
		case l.Test == More:
			l.Sign = Nothing
		}
		looks = append(looks, l)
	}
	t.Errorf("no end: %v", looks)
}

// A break in V+ of a string with two feeds shows to a clamp alone: what the ladder of
// resistors by hand has. All pixels up to it draw from the start, the others from the end.
func TestBreakByClamp(t *testing.T) {
	s := street(t, 2, 60)
	e, _ := light.Expected(s.Budget, s.String, s.Lit, 0)
	dark, _ := light.Expected(s.Budget, s.String, light.Lit{Pattern: patterns.Dark}, 0)
	whole := e.Amps - dark.Amps
	looks := []Look{{Test: White, Sign: Fine}, {Test: Ends, Sign: Fine}, {Test: Slots, Sign: Fine}}
	for feed, share := range []float64{15.0 / 60, 45.0 / 60} {
		looks = append(looks, Look{Test: Amps, Feed: feed, Value: share * whole, Dark: new(0.0)})
	}
	looks = append(looks, Look{Test: Amps, Feed: 1, First: 5, Last: 14, Value: 0, Dark: new(0.0)})
	v, err := s.Weigh(looks)
	if err != nil {
		t.Fatal(err)
	}
	if c := v.Causes[0]; c.Kind != BrokenWire || c.From > 15 || c.To < 15 || c.To-c.From > 8 {
		t.Errorf("%+v", v.Causes[:min(3, len(v.Causes))])
	}
}

// Looks that contradict each other end in no certainty.
func TestItSaysWhenItDoesNotKnow(t *testing.T) {
	s := street(t, 2, 12)
	v, err := s.Weigh([]Look{{Test: White, Sign: AllDark}, {Test: Bright, Sign: Fine}, {Test: Low, Sign: Colours}, {Test: Ends, Sign: Backward}, {Test: Slots, Sign: Nothing}})
	if err != nil || v.Well || v.Sure && v.Causes[0].Kind != Unknown {
		t.Errorf("%+v, %v", v, err)
	}
	if v, err := s.Weigh(nil); err != nil || v.Well || v.Sure || v.Next == nil {
		t.Errorf("before any look: %+v, %v", v, err)
	}
}

// Whatever may be seen is weighed, shares are shares, and no look is asked for twice.
func TestEveryLook(t *testing.T) {
	s := street(t, 2, 8)
	for test, signs := range signsOf {
		for _, sign := range signs {
			looks := []Look{{Test: test, Sign: sign, Pixel: 4}}
			v, err := s.Weigh(looks)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range v.Causes {
				if !(c.Share >= 0 && c.Share <= 1) || c.Text == "" || c.Place > 8 || c.From > c.Place || c.To < c.Place {
					t.Errorf("%s %s: %+v", test, sign, c)
				}
			}
			if v.Next != nil && v.Next.Test == Volts && v.Next.Pixel > 0 {
				t.Errorf("%s %s: a ladder before the ground", test, sign)
			}
			if v.Next != nil && v.Next.is(looks[0]) {
				t.Errorf("%s is asked for again", test)
			}
		}
	}
	for _, l := range []Look{
		{Test: White, Sign: Backward}, {Test: "smell", Sign: Fine}, {Test: Amps, Feed: 2}, {Test: Volts, Pixel: 9}, {Test: Volts, Value: math.NaN()},
		{Test: Amps, First: 5}, {Test: Amps, First: 1, Last: 8}, {Test: White, Sign: DarkTail, Pixel: -1}, {Test: Amps, Value: math.Inf(1)},
	} {
		if _, err := s.Weigh([]Look{l}); err == nil {
			t.Errorf("%+v is taken", l)
		}
	}
}

// The odds of a test are those of signs that it has, and no more than one together.
func TestTable(t *testing.T) {
	for _, c := range table() {
		for test, o := range c.signs {
			sum := 0.0
			for sign, p := range o {
				if sum += p; !slices.Contains(signsOf[test], sign) {
					t.Errorf("%s: %s has no %s", c.Kind, test, sign)
				}
			}
			if sum > 1+1e-9 {
				t.Errorf("%s: the odds of %s are %g together", c.Kind, test, sum)
			}
		}
	}
}

// A diagnosis on a plan of 10,000 strings, the fourth look of an evening: under 100 ms
// is wanted.
func BenchmarkWeigh(b *testing.B) {
	s := street(b, 10_000, 60)
	looks := []Look{{Test: White, Sign: Fine}, {Test: Ends, Sign: Fine}, {Test: Amps, Value: 0.9, Dark: new(0.0)}, {Test: Amps, Feed: 1, Value: 0.5, Dark: new(0.0)}}
	for b.Loop() {
		s.laid = nil // as for somebody who asks for the first time
		if _, err := s.Weigh(looks); err != nil {
			b.Fatal(err)
		}
	}
}
