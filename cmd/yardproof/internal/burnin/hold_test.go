package burnin

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/session"
)

func TestByHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		y.start(nil)
		defer y.end()
		pass(2 * time.Minute)
		for _, pattern := range []string{"number", "ends"} {
			if _, err := y.session.Show(session.Request{Pattern: pattern, Level: 0.2, By: "a phone", Phone: true}); err != nil {
				t.Fatal(err)
			}
			pass(5 * time.Minute)
		}
		r := y.b.Report()
		if r.State != Held || y.session.Snapshot().Shown.Pattern.Name != "ends" {
			t.Errorf("%s, shows %s: the programme must wait", r.State, y.session.Snapshot().Shown.Pattern.Name)
		}
		if r.Least > 2*time.Minute+time.Second {
			t.Errorf("%v served while somebody showed something else", r.Least)
		}
		pass(time.Hour) // it has ended in dark, and not in the programme's next step
		if r := y.b.Report(); r.State != Held || y.session.Snapshot().Shown.Pattern.Name != "dark" {
			t.Errorf("%s, shows %s, an hour after the last change", r.State, y.session.Snapshot().Shown.Pattern.Name)
		}
		y.session.Resume()
		pass(2 * time.Second)
		if r := y.b.Report(); r.State != Running || y.session.Snapshot().Shown.Pattern.Name != "walk" {
			t.Errorf("%s, shows %s, after the hold was lifted", r.State, y.session.Snapshot().Shown.Pattern.Name)
		}
		y.session.Phones(1)
		y.session.Phones(0)
		pass(11 * time.Minute) // the programme is not the phone's to lower
		if r := y.b.Report(); r.State != Running {
			t.Errorf("%s after the phone has gone", r.State)
		}
	})
}

// TestDarkIsHeld: what used to undo dark, each in turn.
func TestDarkIsHeld(t *testing.T) {
	for name, undo := range map[string]func(t *testing.T, y *yard){
		"time": func(*testing.T, *yard) { pass(time.Hour) },
		"a reload at once": func(t *testing.T, y *yard) {
			y.take(y.session.Reload(load(t, shortProgramme)))
		},
		"a reload with more hours": func(t *testing.T, y *yard) {
			y.take(y.session.Reload(load(t, strings.Replace(shortProgramme, "hours: 1", "hours: 3", 1))))
		},
		"another plan": func(t *testing.T, y *yard) {
			y.take(y.session.Reload(load(t, "name: another street\n"+shortProgramme)))
		},
	} {
		for _, before := range []time.Duration{11 * time.Minute, 61 * time.Minute} { // in full white, and finished with Stay
			synctest.Test(t, func(t *testing.T) {
				y := newYard(t, shortProgramme)
				y.start(func(c *Config) { c.Stay = true })
				defer y.end()
				pass(before)
				y.session.HoldDark("a phone", time.Now())
				undo(t, y)
				for range 30 {
					pass(time.Second)
					if s := y.session.Snapshot().Shown; s.Pattern.Name != "dark" {
						t.Fatalf("%s, %v into the burn-in: shows %s", name, before, s.Pattern.Name)
					}
				}
			})
		}
	}
}

// TestAnotherPlan: hours belong to a plan, to a string and to its address.
func TestAnotherPlan(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		left, right    time.Duration // kept, of the ten minutes served
		begun          bool          // anew
	}{
		{"the same", "", "", 10 * time.Minute, 10 * time.Minute, false},
		{"another name", "strings:", "name: quay\nstrings:", 0, 0, true},
		{"another label", "label: C2", "label: C9", 10 * time.Minute, 0, false},
		{"another universe", "universe: 2", "universe: 7", 10 * time.Minute, 0, false},
		{"more pixels", "universe: 2, pixels: 50", "universe: 2, pixels: 60", 10 * time.Minute, 0, false},
		{"all strings elsewhere", "universe: ", "universe: 1", 0, 0, true},
		{"another controller", "pixels: 50, controller: bandstand", "pixels: 50, controller: boathouse", 10 * time.Minute, 10 * time.Minute, false},
	} {
		synctest.Test(t, func(t *testing.T) {
			y := newYard(t, shortProgramme)
			y.start(nil)
			pass(10 * time.Minute)
			y.end()
			text := shortProgramme
			if c.old != "" {
				text = strings.ReplaceAll(text, c.old, c.new)
			}
			plan, _ := load(t, text)
			for name, want := range map[string]time.Duration{"gable-left": c.left, "gable-right": c.right} {
				if got := time.Duration(Kept(y.path, plan).Strings[name].Served); got < want-2*time.Second || got > want+2*time.Second {
					t.Errorf("%s: a sheet says that %s was served %v, want %v", c.name, name, got, want)
				}
			}
			y.restart(text)
			defer y.end()
			near := func(name string, want time.Duration) {
				if got := y.served(name); got < want-2*time.Second || got > want+2*time.Second {
					t.Errorf("%s: %s begins with %v, want %v", c.name, name, got, want)
				}
			}
			pass(time.Second)
			near("gable-left", c.left)
			near("gable-right", c.right)
			if starts := y.b.Report().Starts; (starts == 1) != c.begun {
				t.Errorf("%s: start %d", c.name, starts)
			}
		})
	}
}
