package session

import (
	"slices"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Snapshot is the session at one moment: all that is in it belongs together.
type Snapshot struct {
	Plan   *config.Plan
	Budget *budget.Budget
	Shown  Shown
	Hold   *Hold // nil: nobody holds; it is never changed

	duty []float64 // of each string, by the pattern's worst frame
}

// Shown is what is shown.
type Shown struct {
	Pattern  patterns.Pattern
	Strings  []string // in the plan's order; all snapshots share them, and nobody changes them
	Options  patterns.Options
	Level    float64 // the target, after caps
	LevelNow float64 // at this moment, on the way to the target
	CappedBy string  // what lowered the level that was asked for; "": nothing

	Since     time.Time
	FallsBack time.Time // when full-white ends by itself; zero: it does not
	Change    uint64    // counts what was shown, so that two pictures can be told apart
}

// Lights reports whether a string is meant to be lit.
func (s Shown) Lights(name string) bool {
	return !s.Pattern.Dark && slices.Contains(s.Strings, name)
}

// Snapshot returns the session as it is now.
func (s *Session) Snapshot() Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.snapshot()
}

func (s *Session) snapshot() Snapshot {
	return Snapshot{Plan: s.scene.plan, Budget: s.scene.budget, Shown: s.shown, Hold: s.hold, duty: s.now.duty}
}

// SupplyAmps returns the amps predicted for each supply of the plan at this
// moment's level, by the pattern's worst frame.
func (s Snapshot) SupplyAmps() map[string]float64 {
	return s.Budget.SupplyAmps(s.duty, s.Shown.LevelNow)
}
