package session

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/patterns"
	"yardproof/sacn/source"
)

const period = 25 * time.Millisecond

// yard is a session with the frame clock in the test's hand.
type yard struct {
	t     *testing.T
	s     *Session
	look  source.Scene
	slots [][]byte
	now   time.Time
}

const twoStrings = `
name: quay
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: left, universe: 1, pixels: 20, supply: a, fuse_amps: 5, amps_per_pixel: 0.055}
  - {name: right, universe: 1, channel: 100, pixels: 10, supply: a, fuse_amps: 5, amps_per_pixel: 0.055}
reserved: [{universe: 1, channels: 400-410, value: 200, what: fog relay}]
`

func load(t *testing.T, text string) (*config.Plan, *budget.Budget) {
	t.Helper()
	plan := configtest.Load(t, text)
	return plan, budget.New(plan)
}

func newYard(t *testing.T, text string) *yard {
	t.Helper()
	y := &yard{t: t, s: New(load(t, text)), now: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}
	y.take(y.s.Scene())
	y.frames(1)
	return y
}

func (y *yard) take(look source.Scene) {
	y.look, y.slots = look, nil
	for _, stream := range look.Streams {
		y.slots = append(y.slots, make([]byte, stream.Slots))
	}
	look.Dark(y.slots)
}

func (y *yard) frames(n int) {
	for range n {
		y.now = y.now.Add(period)
		y.look.Render(source.Frame{Deadline: y.now}, y.slots)
	}
}

func (y *yard) wait(d time.Duration) { y.frames(int(d / period)) }

func (y *yard) show(r Request) Shown {
	y.t.Helper()
	now, err := y.s.Show(r)
	if err != nil {
		y.t.Fatal(err)
	}
	return now.Shown
}

func (y *yard) brightest() byte {
	var top byte
	for i, v := range y.slots[0] {
		if i < 399 || i > 409 {
			top = max(top, v)
		}
	}
	return top
}

func TestOnlyChosenStringsAreLit(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Strings: []string{"right"}, Level: 1, LevelExplicit: true})
	y.wait(time.Second)
	lit := func(from, to int) bool {
		for _, v := range y.slots[0][from:to] {
			if v != 0 {
				return true
			}
		}
		return false
	}
	if lit(0, 60) || !lit(99, 129) || lit(129, 399) {
		t.Errorf("lit: left %v, right %v, beyond %v; want only right", lit(0, 60), lit(99, 129), lit(129, 399))
	}
	y.s.HoldDark("a test", y.now)
	y.frames(1)
	if y.brightest() != 0 {
		t.Error("dark is not dark in the next frame")
	}
}

func TestKeepIsNeverTouched(t *testing.T) {
	y := newYard(t, twoStrings)
	for _, p := range patterns.All() {
		y.show(Request{Pattern: p.Name, Level: 1, LevelExplicit: true})
		for range 40 {
			y.frames(1)
			for i, v := range y.slots[0][399:410] {
				if v != 200 {
					t.Fatalf("%s: channel %d is %d, want the kept 200", p.Name, 400+i, v)
				}
			}
		}
	}
	clear(y.slots[0])
	y.look.Dark(y.slots)
	if y.slots[0][399] != 200 || y.slots[0][0] != 0 {
		t.Error("the goodbye's dark frame does not keep what it must")
	}
}

// No slot of any frame may exceed the level, whatever the pattern.
func TestLevelBounds(t *testing.T) {
	for _, p := range patterns.All() {
		for _, level := range []float64{0, 0.001, 0.1, 0.5, 1} {
			y := newYard(t, twoStrings)
			show := y.show(Request{Pattern: p.Name, Level: level, LevelExplicit: true})
			if show.Level > level {
				t.Errorf("%s at %v: level %v", p.Name, level, show.Level)
			}
			for range 200 {
				y.frames(1)
				if top := float64(y.brightest()); top > math.Floor(255*level) {
					t.Fatalf("%s at %v: a slot holds %v", p.Name, level, top)
				}
			}
		}
	}
}

func TestFullWhiteFallsBack(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Level: 0.8, LevelExplicit: true})
	y.wait(time.Second)
	y.show(Request{Pattern: "full-white", Level: 1, LevelExplicit: true, Hold: 5 * time.Second})
	y.wait(4 * time.Second)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "full-white" {
		t.Fatalf("after 4 s of 5: %s", got.Pattern.Name)
	}
	y.wait(2 * time.Second)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "ruler" || got.Level > 0.3 || !got.FallsBack.IsZero() {
		t.Errorf("after the hold: %+v, want ruler at 30 %% at most", got)
	}

	y.show(Request{Pattern: "full-white", Level: 1, LevelExplicit: true, Hold: time.Hour})
	y.show(Request{Pattern: "full-white", Level: 0.9, LevelExplicit: true, Hold: time.Hour})
	y.wait(MaxHold + time.Second)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "ruler" {
		t.Errorf("a hold of an hour, twice: %s after a minute, want the pattern before white", got.Pattern.Name)
	}

	y.show(Request{Pattern: "full-white", Level: 1, LevelExplicit: true, Hold: Forever})
	y.wait(2 * MaxHold)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "full-white" {
		t.Errorf("the programme's white fell back to %s", got.Pattern.Name)
	}
}

func TestFullWhiteAtStart(t *testing.T) {
	y := &yard{t: t, s: New(load(t, twoStrings)), now: time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)}
	y.show(Request{Pattern: "full-white", Level: 1, LevelExplicit: true, Hold: 5 * time.Second})
	y.take(y.s.Scene())
	y.wait(4 * time.Second)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "full-white" || y.brightest() == 0 {
		t.Errorf("4 s after the first frame: %s", got.Pattern.Name)
	}
	y.wait(2 * time.Second)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "dark" {
		t.Errorf("with nothing before it, white fell back to %s", got.Pattern.Name)
	}
}

func TestLevelRisesSlowlyAndFallsAtOnce(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Level: 0.1, LevelExplicit: true})
	y.wait(time.Second)
	show := y.show(Request{Pattern: "ruler", Level: 1, LevelExplicit: true})
	if show.LevelNow > 0.1 {
		t.Errorf("raised: %v at once, want a rise from 0.1", show.LevelNow)
	}
	y.wait(1500 * time.Millisecond)
	if now := y.s.Snapshot().Shown.LevelNow; now < 0.4 || now >= 1 {
		t.Errorf("on the way up: %v", now)
	}
	y.wait(2 * time.Second)
	if now := y.s.Snapshot().Shown.LevelNow; now != 1 {
		t.Errorf("after the rise: %v, want 1", now)
	}
	if now := y.show(Request{Pattern: "ruler", Level: 0.2, LevelExplicit: true}).LevelNow; now != 0.2 {
		t.Errorf("lowered: %v at once, want 0.2", now)
	}
}

// A change that comes too soon after another waits, but dark never does.
func TestChangesKeepTheirDistance(t *testing.T) {
	y := newYard(t, twoStrings)
	y.wait(time.Second)
	y.show(Request{Pattern: "ends", Level: 1, LevelExplicit: true})
	y.frames(2)
	before := string(y.slots[0])
	y.show(Request{Pattern: "ruler", Level: 1, LevelExplicit: true})
	y.frames(1)
	if string(y.slots[0]) != before {
		t.Error("a change 50 ms after another was shown at once")
	}
	y.wait(patterns.MinChange)
	if string(y.slots[0]) == before {
		t.Error("the change never came")
	}
	y.show(Request{Pattern: "ends", Level: 1, LevelExplicit: true})
	y.s.HoldDark("a test", y.now)
	y.frames(1)
	if y.brightest() != 0 {
		t.Error("dark waited")
	}
}

func TestRefusals(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Level: 0.5, LevelExplicit: true})
	before := y.s.Snapshot().Shown
	for want, r := range map[string]Request{
		"pattern \"rainbow\"": {Pattern: "rainbow"},
		"string \"middle\"":   {Pattern: "walk", Strings: []string{"left", "middle"}},
		"level 150 %":         {Pattern: "walk", Level: 1.5},
		"level NaN":           {Pattern: "walk", Level: math.NaN()},
		"hold -1s":            {Pattern: "full-white", Hold: -time.Second},
		"pixels 0 to 4":       {Pattern: "block", Options: patterns.Options{Last: 4}},
		"pixels 9 to 8":       {Pattern: "block", Options: patterns.Options{First: 9, Last: 8}},
		"pixels 1 to 400":     {Pattern: "block", Options: patterns.Options{First: 1, Last: 400}},
		"at most half":        {Pattern: "block", Options: patterns.Options{First: 1, Last: 15}},
	} {
		_, err := y.s.Show(r)
		if !errors.Is(err, ErrRequest) || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", r, err, want)
		}
	}
	if after := y.s.Snapshot().Shown; after.Change != before.Change || after.Pattern.Name != "ruler" {
		t.Errorf("a refused request changed what is shown: %+v", after)
	}
}

func TestLastPhoneGone(t *testing.T) {
	y := newYard(t, twoStrings)
	y.s.Phones(1)
	y.show(Request{Pattern: "ruler", Level: 0.8, LevelExplicit: true, Phone: true})
	y.wait(idleAfter + time.Minute)
	if got := y.s.Snapshot().Shown.Level; got != 0.8 {
		t.Fatalf("with a phone connected the level went to %v", got)
	}
	y.s.Phones(0)
	y.wait(idleAfter - time.Second)
	if got := y.s.Snapshot().Shown.Level; got != 0.8 {
		t.Errorf("just before ten minutes: %v", got)
	}
	y.wait(2 * time.Second)
	if got := y.s.Snapshot().Shown; got.Level != 0.1 || got.CappedBy == "" {
		t.Errorf("after ten minutes: %+v, want 10 %% and the reason", got)
	}
}

func TestReload(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Strings: []string{"right"}, Level: 0.2, LevelExplicit: true})
	y.wait(time.Second)
	old := y.look

	plan, b := load(t, strings.Replace(twoStrings, "channel: 100, pixels: 10", "channel: 200, pixels: 12", 1))
	look := y.s.Reload(plan, b)
	before := string(y.slots[0])
	old.Render(source.Frame{Deadline: y.now.Add(period)}, y.slots)
	if string(y.slots[0]) != before {
		t.Error("the old look went on rendering after the reload")
	}
	y.take(look)
	y.frames(1)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "ruler" || got.Level != 0.2 || len(got.Strings) != 1 {
		t.Errorf("after the reload: %+v", got)
	}
	if y.slots[0][99] != 0 || string(y.slots[0][199:235]) == string(make([]byte, 36)) {
		t.Error("the string did not move to its new channels")
	}

	plan, b = load(t, strings.ReplaceAll(twoStrings, "right", "other"))
	y.take(y.s.Reload(plan, b))
	y.frames(1)
	if got := y.s.Snapshot().Shown; got.Pattern.Name != "dark" {
		t.Errorf("the only string is gone, and %s is shown", got.Pattern.Name)
	}
}

// A reload in the middle of a rise goes on rising from where it was.
func TestReloadRaisesNothing(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: "ruler", Level: 0.1, LevelExplicit: true})
	y.wait(time.Second)
	y.show(Request{Pattern: "ruler", Level: 1, LevelExplicit: true})
	y.wait(200 * time.Millisecond)
	before := y.s.Snapshot().Shown.LevelNow
	y.take(y.s.Reload(load(t, twoStrings)))
	if now := y.s.Snapshot().Shown.LevelNow; now > before {
		t.Errorf("the reload raised the level from %v to %v at once", before, now)
	}
	y.wait(2 * time.Second)
	if now := y.s.Snapshot().Shown.LevelNow; now != 1 {
		t.Errorf("two seconds after the reload: %v, want 1", now)
	}

	// Nor do larger fuses give more light than there was: nobody has asked again.
	y = newYard(t, strings.ReplaceAll(twoStrings, "fuse_amps: 5", "fuse_amps: 0.5"))
	y.show(Request{Pattern: "full-white", Level: 1, LevelExplicit: true, Hold: Forever})
	y.wait(5 * time.Second)
	capped := y.s.Snapshot().Shown
	if capped.CappedBy == "" {
		t.Fatalf("no fuse binds: %+v", capped)
	}
	y.take(y.s.Reload(load(t, twoStrings)))
	y.wait(5 * time.Second)
	if now := y.s.Snapshot().Shown; now.Level > capped.Level || now.LevelNow > capped.LevelNow {
		t.Errorf("larger fuses raised the level from %v to %v", capped.Level, now.Level)
	}
}

func TestAllocNothingPerFrame(t *testing.T) {
	y := newYard(t, twoStrings)
	for _, p := range patterns.All() {
		y.show(Request{Pattern: p.Name, Level: 0.5, LevelExplicit: true, Hold: Forever})
		y.wait(time.Second)
		if n := testing.AllocsPerRun(100, func() { y.frames(1) }); n != 0 {
			t.Errorf("%s: %v allocations a frame", p.Name, n)
		}
	}
}

// Each page looks fourteen times a second.
func TestAllocNothingPerSnapshot(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: patterns.All()[0].Name, Level: 0.5, LevelExplicit: true})
	if n := testing.AllocsPerRun(100, func() { y.s.Snapshot() }); n != 0 {
		t.Errorf("%v allocations a snapshot", n)
	}
}
