package session

import (
	"errors"
	"testing"
	"time"

	"yardproof/patterns"
)

// full is what a programme asks for.
var full = Request{Pattern: "full-white", Level: 1, Hold: Forever}

func TestDarkIsHeld(t *testing.T) {
	y := newYard(t, twoStrings)
	y.s.SetProgramme(true)
	y.show(full)
	y.wait(3 * time.Second)
	if y.brightest() == 0 {
		t.Fatal("nothing is lit")
	}
	changed := y.s.HoldChanged()
	y.s.HoldDark("the phone of the bandstand", y.now)
	select {
	case <-changed:
	default:
		t.Error("nobody is told of the hold")
	}
	still := func(after string) {
		t.Helper()
		y.frames(2)
		if y.brightest() != 0 {
			t.Errorf("%s: lit", after)
		}
	}
	still("dark")
	for _, r := range []Request{full, {Pattern: "walk", Level: 1, By: "another phone"}, {Pattern: patterns.Dark}} {
		if _, err := y.s.Show(r); !errors.Is(err, ErrHeld) {
			t.Errorf("%s by %q: %v", r.Pattern, r.By, err)
		}
		still(r.Pattern)
	}
	y.take(y.s.Reload(load(t, twoStrings)))
	still("a reload")
	y.wait(handTime + time.Minute)
	still("eleven minutes")
	if h := y.s.Snapshot().Hold; h == nil || h.By != "the phone of the bandstand" || !h.Dark {
		t.Errorf("held: %+v", h)
	}
	y.s.HoldDark("another phone", y.now)
	if h := y.s.Snapshot().Hold; h.By != "the phone of the bandstand" {
		t.Errorf("the second who pressed dark took over: %+v", h)
	}
	if h := y.s.Resume(); h == nil {
		t.Error("nothing was lifted")
	}
	still("lifted")
	y.show(full)
	y.wait(time.Second)
	if y.brightest() == 0 {
		t.Error("the programme does not go on")
	}
}

// TestReloadDoesNotUndoDark presses dark while a reload works out its levels.
func TestReloadDoesNotUndoDark(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(full)
	y.wait(3 * time.Second)
	plan, b := load(t, twoStrings)
	sc := newScene(plan, b)
	now, change := sc.prepare(y.s.now.request), y.s.Snapshot().Shown.Change
	y.s.HoldDark("a phone", y.now)
	if y.s.replace(sc, now, sc.allDark, change) {
		t.Error("the reload put white back")
	}
	y.take(y.s.Reload(plan, b))
	y.frames(2)
	if y.brightest() != 0 {
		t.Error("lit after the reload")
	}
}

func TestByHandEndsInDark(t *testing.T) {
	y := newYard(t, twoStrings)
	y.s.SetProgramme(true)
	y.show(full)
	y.wait(3 * time.Second)
	y.show(Request{Pattern: "ends", Level: 0.3, By: "a phone"})
	h := y.s.Snapshot().Hold
	if h == nil || h.Dark || h.GoesDark.Sub(y.now) != handTime {
		t.Fatalf("held: %+v", h)
	}
	if _, err := y.s.Show(full); !errors.Is(err, ErrHeld) {
		t.Errorf("the programme took over: %v", err)
	}
	y.wait(time.Minute)
	y.show(Request{Pattern: "ruler", Level: 0.3, By: "another phone"}) // counts anew
	y.wait(handTime - time.Second)
	if y.brightest() == 0 {
		t.Error("dark too early")
	}
	y.wait(2 * time.Second)
	if h := y.s.Snapshot().Hold; y.brightest() != 0 || h == nil || !h.Dark || h.By != "a phone" {
		t.Errorf("brightest %d, held %+v; want dark, held by the first", y.brightest(), h)
	}
}

func TestWithoutProgrammeNothingIsHeld(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ends", Level: 0.3, By: "a phone"})
	if h := y.s.Snapshot().Hold; h != nil {
		t.Errorf("held: %+v", h)
	}
}

func TestRestoredHoldIsDark(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ends", Level: 0.3, By: "a phone"}) // should somebody have been quicker
	y.wait(time.Second)
	y.s.Restore(Hold{By: "a phone", Since: y.now.Add(-time.Hour), GoesDark: y.now})
	y.frames(1)
	if y.brightest() != 0 {
		t.Errorf("brightest %d under a hold of before", y.brightest())
	}
	if _, err := y.s.Show(full); !errors.Is(err, ErrHeld) {
		t.Errorf("lit after a restart: %v", err)
	}
	if h := y.s.Snapshot().Hold; !h.Dark {
		t.Errorf("held: %+v", h)
	}
}

func TestNothingRisesWhileTheClockStands(t *testing.T) {
	for _, name := range []string{"walk", "full-white"} {
		y := newYard(t, twoStrings)
		y.show(Request{Pattern: name, Level: 1})
		y.frames(1)
		y.now = y.now.Add(5 * time.Second)
		y.frames(1)
		if got := y.brightest(); got > 40 {
			t.Errorf("%s: the first frame after five seconds without one has a slot at %d", name, got)
		}
		y.wait(3 * time.Second)
		if got := y.brightest(); got < 250 {
			t.Errorf("%s: three seconds later no slot is above %d", name, got)
		}
	}
}

func TestFirstLightRises(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "walk", Level: 1})
	y.frames(1)
	if got := y.brightest(); got > 10 {
		t.Errorf("the first frame has a slot at %d", got)
	}
	y.wait(3 * time.Second)
	if got := y.s.Snapshot().Shown; got.LevelNow != got.Level {
		t.Errorf("after three seconds %v of %v", got.LevelNow, got.Level)
	}

	y = newYard(t, twoStrings)
	y.show(Request{Pattern: "walk", Level: 1})
	y.s.HoldDark("a test", y.now) // before a frame of it
	y.s.Resume()
	y.show(Request{Pattern: "ruler", Level: 1})
	y.frames(1)
	y.show(Request{Pattern: "ends", Level: 1})
	y.wait(patterns.MinChange)
	if got := y.brightest(); got > 80 {
		t.Errorf("half a second after the first light a slot is at %d, though nothing had been lit before", got)
	}
}
