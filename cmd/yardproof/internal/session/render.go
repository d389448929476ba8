package session

import (
	"time"

	"yardproof/patterns"
)

// render writes the frame that is due at deadline. Slots that no lit string
// owns were zeroed when the picture began and are not touched again.
func (s *Session) render(sc *scene, deadline time.Time, slots [][]byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if sc != s.scene {
		return // a new plan is about to take over: the last frame of the old one stays
	}
	s.advance(deadline)
	if deadline.Before(s.shown.Since) {
		return // changes come no faster than patterns.MinChange: the last frame stays
	}
	moved := s.scale.set(s.shown.LevelNow)
	switch {
	case s.stale:
		sc.dark(slots)
		for _, b := range sc.buffers {
			clear(b)
		}
		s.stale, s.changed = false, s.shown.Since
	case !moved && deadline.Before(s.next):
		return
	}
	elapsed := deadline.Sub(s.shown.Since)
	s.next = deadline.Add(s.now.pattern.Next(elapsed) - elapsed)
	s.lit = s.lit || !s.now.pattern.Dark && s.shown.LevelNow > 0 && s.shown.LevelNow >= s.shown.Level
	for _, i := range s.now.lit {
		buf := sc.buffers[i]
		s.now.pattern.Frame(buf, sc.layouts[i], s.shown.Options, elapsed)
		s.scale.apply(buf)
		for _, c := range sc.addr.Strings[i].Copies {
			copy(slots[c.Universe][c.At:], buf[c.From:c.From+c.Length])
		}
	}
	if s.now.pattern.Name == patterns.Code && len(s.now.lit) == len(sc.layouts) {
		s.renderSpare(sc, elapsed, slots)
	}
}

// spareLevel bounds the light on slots that no string is planned to have: what
// hangs there is in no budget.
const spareLevel = 0.10

// renderSpare sends the code on spare slots too: a string that hears them, shifted
// or longer than planned, then says so on a film.
func (s *Session) renderSpare(sc *scene, elapsed time.Duration, slots [][]byte) {
	level := byte(255 * min(s.scale.level, spareLevel))
	for _, r := range sc.spare {
		dst := slots[r.universe][r.first : r.last+1]
		patterns.CodeFrame(dst, r.universe*patterns.CodeUniverse+r.first, elapsed)
		for i := range dst {
			dst[i] = min(dst[i], level)
		}
	}
}

// scale brings slots down to a level.
type scale struct {
	level float64
	of    [256]byte
}

// set prepares a level from 0 to 1, and reports whether it is another one.
func (s *scale) set(level float64) (moved bool) {
	if level == s.level {
		return false
	}
	s.level = level
	for v := range s.of {
		s.of[v] = byte(float64(v) * level) // rounds down: never above the level
	}
	return true
}

func (s *scale) apply(slots []byte) {
	if s.level == 1 {
		return
	}
	for i, v := range slots {
		slots[i] = s.of[v]
	}
}

// advance moves the session on to the time of a frame: fall-backs, the way to a
// higher level.
func (s *Session) advance(now time.Time) {
	step := now.Sub(s.last).Seconds()
	if s.last.IsZero() || step < 0 {
		step = 0
	}
	// A clock that stood still, for a stopped program or a busy machine, lets nothing
	// rise: receivers still show the frame before.
	if still := now.Sub(s.last) - longestStep; still > 0 && !s.last.IsZero() {
		step = longestStep.Seconds()
		if s.now.pattern.Load && !s.shown.Since.After(s.last) { // it rises by itself
			s.shown.Since = s.shown.Since.Add(still)
		}
	}
	s.last = now
	if s.shown.Since.IsZero() { // nothing had been sent yet when it was asked for
		if !s.shown.FallsBack.IsZero() {
			s.shown.FallsBack = now.Add(s.shown.FallsBack.Sub(s.shown.Since))
		}
		s.shown.Since = now
	}
	if !s.shown.FallsBack.IsZero() && !now.Before(s.shown.FallsBack) {
		s.fallBack(now)
	}
	s.endByHand(now)
	if s.now.request.Phone && s.phones == 0 && !s.idleSince.IsZero() && now.Sub(s.idleSince) >= idleAfter {
		s.idleSince = time.Time{}
		s.lower(idleLevel, "no phone for ten minutes")
	}
	if s.shown.LevelNow < s.shown.Level {
		s.shown.LevelNow = min(s.shown.Level, s.shown.LevelNow+risePerSecond*step)
	}
}

// fallBack ends full-white: the pattern before it, at 30 % or less.
func (s *Session) fallBack(now time.Time) {
	s.begin(s.earlier.atMost(fallbackLevel, "full white has ended"), now)
}

// lower brings the level of what is shown down to at most limit.
func (s *Session) lower(limit float64, why string) {
	if s.shown.Level <= limit {
		return
	}
	s.now = s.now.atMost(limit, why)
	s.shown.Level, s.shown.CappedBy = s.now.level, s.now.cappedBy
	s.shown.LevelNow = min(s.shown.LevelNow, s.shown.Level)
	s.shown.Change++
}

// dark fills every slot with what it holds when nothing is lit: zero, and the
// values of the channels that belong to something else.
func (sc *scene) dark(slots [][]byte) {
	for _, b := range slots {
		clear(b)
	}
	for _, k := range sc.reserved {
		b := slots[k.universe]
		for i := k.first; i <= k.last && i < len(b); i++ {
			b[i] = k.value
		}
	}
}
