package session

import (
	"errors"
	"time"
)

// handTime is how long a pattern that a person chose during a programme stays,
// after the last choice. Then it goes dark, since what the programme would show
// could be more light than anybody expects (common practice, no source).
const handTime = 10 * time.Minute

// Hold is a person's word that nothing but a person changes what is shown. A
// programme waits meanwhile, and a restart comes up dark.
type Hold struct {
	By    string    `json:"by"` // who, for other people
	Since time.Time `json:"since"`
	Dark  bool      `json:"dark"` // everything is dark: not even a person lights anything before it is lifted

	// GoesDark is when a pattern chosen by hand ends in dark; zero for dark.
	GoesDark time.Time `json:"goes_dark,omitzero"`
}

// ErrHeld is wrapped by what Show returns while a hold forbids it.
var ErrHeld = errors.New("a person holds the display")

// HoldDark shows dark on all strings, and holds it until Resume.
func (s *Session) HoldDark(by string, at time.Time) Snapshot {
	s.mu.Lock() // and not asking: dark waits for nobody's caps
	defer s.mu.Unlock()
	if s.hold == nil || !s.hold.Dark { // the first who pressed it stays the one to ask
		s.setHold(&Hold{By: by, Since: at, Dark: true})
	}
	s.goDark(s.last)
	return s.snapshot()
}

// Resume lifts a hold, and returns it; nil when there was none. It lights nothing
// by itself: a programme goes on with its own next step.
func (s *Session) Resume() *Hold {
	s.mu.Lock()
	defer s.mu.Unlock()
	held := s.hold
	if held != nil {
		s.setHold(nil)
	}
	return held
}

// Restore puts a hold in force that outlasted the program. Whatever it was, the
// display is dark: what a person saw before the restart is not lit again unseen.
func (s *Session) Restore(h Hold) {
	h.Dark, h.GoesDark = true, time.Time{}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.setHold(&h)
	s.goDark(s.last)
}

// HoldChanged is closed at the next change of the hold.
func (s *Session) HoldChanged() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.holdChanged
}

func (s *Session) setHold(h *Hold) {
	s.hold = h
	close(s.holdChanged)
	s.holdChanged = make(chan struct{})
}

// SetProgramme says whether a programme chooses what is shown. Then a pattern
// that a person chooses is a hold, and ends in dark.
func (s *Session) SetProgramme(on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.programme = on
}

// mayShow reports why a request, for dark or for light, must wait; nil when it
// need not.
func (s *Session) mayShow(r Request, dark bool) error {
	switch h := s.hold; {
	case h == nil, r.By != "" && !h.Dark, r.By != "" && dark:
		return nil
	default:
		return ErrHeld
	}
}

// chosen makes what a person chose during a programme a hold.
func (s *Session) chosen(r Request, now time.Time) {
	if r.By == "" || !s.programme || (s.hold != nil && s.hold.Dark) {
		return
	}
	h := &Hold{By: r.By, Since: now, GoesDark: now.Add(handTime)}
	if s.hold != nil {
		h.By, h.Since = s.hold.By, s.hold.Since
	}
	s.setHold(h)
}

// endByHand goes dark when a pattern chosen by hand has stayed long enough.
func (s *Session) endByHand(now time.Time) {
	h := s.hold
	if h == nil || h.Dark || now.Before(h.GoesDark) {
		return
	}
	s.setHold(&Hold{By: h.By, Since: h.Since, Dark: true})
	s.goDark(now)
}

// goDark shows dark, with nothing to fall back to.
func (s *Session) goDark(now time.Time) {
	s.earlier = s.scene.allDark
	s.begin(s.earlier, now)
}
