package session

import (
	"slices"
	"time"

	"yardproof/config/budget"
	"yardproof/patterns"
)

// heaviestAt are the moments at which a pattern's frames are compared, to find
// the heaviest: some lie in every lit moment of those that blink or rise.
const (
	heaviestEvery = 250 * time.Millisecond
	heaviestUntil = 10 * time.Second
)

// Expected returns what meters should read on a string while show is what is
// shown, at its target level and in its heaviest frame, and in the dark. It is
// false when the string is not in the plan, or the plan does not say enough.
func (s *Session) Expected(name string, show Showing) (lit, dark budget.Expectation, ok bool) {
	s.mu.Lock()
	sc := s.scene
	s.mu.Unlock()
	i, ok := sc.byName[name]
	if !ok {
		return lit, dark, false
	}
	if dark, ok = sc.budget.Expect(i, nil, 0); !ok {
		return lit, dark, false
	}
	slots := sc.heaviest(i, show)
	if slots == nil {
		return dark, dark, true
	}
	lit, ok = sc.budget.Expect(i, slots, 0)
	return lit, dark, ok
}

// heaviest returns the slots of a string's heaviest frame, nil when it is dark.
func (sc *scene) heaviest(i int, show Showing) []byte {
	pattern, ok := patterns.Lookup(show.Pattern)
	if !ok || !slices.Contains(show.Strings, sc.plan.Strings[i].Name) {
		return nil
	}
	var most []byte
	best := 0
	frame := make([]byte, len(sc.buffers[i]))
	for at := time.Duration(0); at <= heaviestUntil; at += heaviestEvery {
		pattern.Frame(frame, sc.layouts[i], show.Options, at)
		sum := 0
		for _, v := range frame {
			sum += int(v)
		}
		if sum > best {
			best, most = sum, append(most[:0], frame...)
		}
	}
	for j, v := range most {
		most[j] = byte(float64(v) * show.Level)
	}
	return most
}
