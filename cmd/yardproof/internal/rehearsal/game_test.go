package rehearsal

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/sacn/listener"
)

func demo(t testing.TB, seed uint64, hidden int) *Rehearsal {
	t.Helper()
	p := configtest.Load(t, config.DemoText())
	r, err := New(Config{Plan: p, Budget: budget.New(p), Seed: seed, Hidden: hidden})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestClaims(t *testing.T) {
	p := configtest.Load(t, config.DemoText())
	const rail, roof = "bandstand-rail", "bandstand-roof-north" // at one controller and one supply
	for _, tt := range []struct {
		claim claim
		fault yard.Fault
		want  bool
	}{
		{claim{yard.DeadPixel, rail, 10}, yard.Fault{Kind: yard.DeadPixel, String: rail, Place: 10}, true},
		{claim{yard.DeadPixel, rail, 11}, yard.Fault{Kind: yard.DeadPixel, String: rail, Place: 10}, true},
		{claim{yard.DeadPixel, rail, 12}, yard.Fault{Kind: yard.DeadPixel, String: rail, Place: 10}, false},
		{claim{yard.DeadPixel, roof, 10}, yard.Fault{Kind: yard.DeadPixel, String: rail, Place: 10}, false},
		// A new pixel with new joints mends what looks the same: the chip, or its data lead.
		{claim{yard.BrokenData, rail, 9}, yard.Fault{Kind: yard.DeadChip, String: rail, Place: 10}, true},
		{claim{yard.FuseBlown, rail, 1}, yard.Fault{Kind: yard.FeedOff, String: rail, Place: 1}, true},
		{claim{yard.FuseBlown, rail, 2}, yard.Fault{Kind: yard.FeedOff, String: rail, Place: 1}, false},
		{claim{yard.SupplyOff, roof, 0}, yard.Fault{Kind: yard.HotSupply, String: rail}, true},
		{claim{yard.Frozen, roof, 0}, yard.Fault{Kind: yard.Frozen, String: rail}, true},
		{claim{yard.Frozen, "quay-rail-west", 0}, yard.Fault{Kind: yard.Frozen, String: rail}, false},
		{claim{yard.OwnTest, rail, 0}, yard.Fault{Kind: yard.Frozen, String: rail}, false},
		{claim{yard.SwappedPorts, roof, 0}, yard.Fault{Kind: yard.SwappedPorts, String: rail, With: roof}, true},
		{claim{yard.WrongOrder, rail, 0}, yard.Fault{Kind: yard.WrongCount, String: rail}, false},
	} {
		if got := tt.claim.hits(tt.fault, p); got != tt.want {
			t.Errorf("%v mends %v: %v", tt.claim, tt.fault, got)
		}
	}
}

// Every kind that is hidden can be found: named as it is it is mended, and the
// evening ends with the last one.
func TestEveningsEnd(t *testing.T) {
	for seed := range uint64(6) {
		r := demo(t, seed, 3)
		if again := demo(t, seed, 3); !reflect.DeepEqual(again.game.hidden, r.game.hidden) {
			t.Errorf("seed %d hides %v, then %v", seed, r.game.hidden, again.game.hidden)
		}
		if _, _, err := r.mend(claim{yard.DeadPixel, "bandstand-rail", 400}); err == nil {
			t.Error("pixel 400 of 50 is replaced")
		}
		want := 0.0
		for i, f := range r.game.left() {
			w, _ := workFor(f.Kind)
			want += (walking + w.takes).Minutes()
			if was, _, err := r.mend(claim{f.Kind, f.String, f.Place}); err != nil || !strings.Contains(was, string(f.Kind)) {
				t.Errorf("seed %d: %v is mended as %q, %v", seed, f, was, err)
			}
			if over := i == 2; r.game.over != over {
				t.Errorf("seed %d: over %v after %d of 3", seed, r.game.over, i+1)
			}
		}
		s := r.Score()
		if len(s.Found) != 3 || len(s.Missed) != 0 || s.Wrong != 0 {
			t.Errorf("seed %d: %+v", seed, s)
		}
		if math.Abs(s.Minutes-want) > 1 { // what really passed comes on top
			t.Errorf("seed %d: %g minutes, by hand %g", seed, s.Minutes, want)
		}
		r.spend(time.Hour)
		if later := r.Score(); later.Minutes != s.Minutes {
			t.Errorf("seed %d: it took %g minutes, and an hour later %g", seed, s.Minutes, later.Minutes)
		}
		if _, _, err := r.mend(claim{yard.OwnTest, "bandstand-rail", 0}); err == nil {
			t.Error("something is mended after the end")
		}
	}
}

func TestScoreInWords(t *testing.T) {
	s := Score{Seed: 7, Minutes: 1.2, Climbs: 2, Wrong: 1, Found: []string{"rail, pixel 3: dead pixel"}, Missed: []string{"roof: low supply"}}
	want := "evening 7: found 1 of 2 faults in 1 minute, with 2 ladder trips; mended what was not broken: 1\n" +
		"found   rail, pixel 3: dead pixel\nmissed  roof: low supply"
	if got := strings.Join(s.Lines(), "\n"); got != want {
		t.Errorf("got:\n%s", got)
	}
}

// What no lamp and no reading tells is not hidden: a joint of a milliohm.
func TestOnlyWhatShowsIsHidden(t *testing.T) {
	r := demo(t, 1, 0)
	for _, tt := range []struct {
		fault yard.Fault
		want  bool
	}{
		{yard.Fault{Kind: yard.JointPositive, String: "quay-rail-west", Place: 60, Severity: 0.001}, false},
		{yard.Fault{Kind: yard.JointPositive, String: "gable-left", Place: 1, Severity: 1}, true}, // its one feed's volts go on over it
		{yard.Fault{Kind: yard.DeadColour, String: "gable-left", Place: 7, Severity: 1}, true},
		{yard.Fault{Kind: yard.SecondSource, String: "gable-left"}, true},
		{yard.Fault{Kind: yard.SwitchStops, String: "gable-left", Severity: 250}, true},
	} {
		if got, err := r.shows(tt.fault); err != nil || got != tt.want {
			t.Errorf("%v shows: %v, %v", tt.fault, got, err)
		}
	}
}

// A second source is told of on the universes of its controller, until it is found.
func TestSecondSourceIsHeard(t *testing.T) {
	r := demo(t, 1, 0)
	r.game.hidden = []hidden{{Fault: yard.Fault{Kind: yard.SecondSource, String: "gable-left", Severity: 7.9}}}
	got := r.Competing(nil)
	heard := map[uint16]bool{}
	for _, c := range got {
		heard[c.Universe] = true
		if c.Priority != 107 || c.Precedence != listener.Theirs {
			t.Errorf("%+v", c)
		}
	}
	if len(heard) != len(got) || !heard[11] || !heard[12] || heard[1] {
		t.Errorf("heard on %v", heard)
	}
	if was, _, err := r.mend(claim{yard.SecondSource, "quay-rail-west", 0}); was == "" || err != nil {
		t.Errorf("mended %q, %v", was, err)
	}
	if got := r.Competing(nil); len(got) != 0 {
		t.Errorf("still heard: %v", got)
	}
}

func TestParseFault(t *testing.T) {
	for text, want := range map[string]any{
		"dead pixel,a,3":                 yard.Fault{Kind: yard.DeadPixel, String: "a", Place: 3},
		" bad joint in V+ , a, 3 ,0.25":  yard.Fault{Kind: yard.JointPositive, String: "a", Place: 3, Severity: 0.25},
		"swapped ports,a,b":              yard.Fault{Kind: yard.SwappedPorts, String: "a", With: "b"},
		"supply off,a":                   yard.Fault{Kind: yard.SupplyOff, String: "a"},
		"dead pixle,a,3":                 `did you mean "dead pixel"?`,
		"dead pixel":                     "write KIND,STRING,PLACE",
		"dead pixel,a":                   "write KIND,STRING,PLACE",
		"dead pixel,a,3x":                "not a whole number",
		"dead pixel,a,3,4":               "write KIND,STRING,PLACE",
		"swapped ports,a":                "write KIND,STRING,OTHER",
		"bad joint in V+,a,3,much":       "not a number",
		"":                               "no kind of fault",
		"bad joint in V+,a,3,0.25,again": "write KIND,STRING,PLACE[,SEVERITY]",
	} {
		got, err := ParseFault(text)
		if words, wrong := want.(string); wrong {
			if err == nil || !strings.Contains(err.Error(), words) {
				t.Errorf("%q: %v", text, err)
			}
		} else if err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}

func FuzzParseFault(f *testing.F) {
	f.Add("bad joint in V+,a,3,0.25")
	f.Add("swapped ports,a,b")
	p := configtest.Load(f, "strings: [{name: a, universe: 1, pixels: 9}, {name: b, universe: 2, pixels: 9}]")
	b := budget.New(p)
	f.Fuzz(func(_ *testing.T, text string) {
		if fault, err := ParseFault(text); err == nil {
			yard.New(p, b, yard.Options{Faults: []yard.Fault{fault}}) // refuses, or is laid out
		}
	})
}
