// Package session is what is being shown now: which pattern, on which strings,
// at what level, capped by what, until when. The page, the metrics and the
// status line all read one snapshot of it. It refuses to know about HTTP, about
// sockets and about the disk; time reaches it with each frame.
package session

import (
	"slices"
	"sync"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
	"yardproof/sacn/source"
)

// Times and levels of the safe fall-backs (common practice, no source).
const (
	DefaultHold = 15 * time.Second // of full-white, before it falls back
	MaxHold     = time.Minute      //

	fallbackLevel = 0.30
	idleLevel     = 0.10
	idleAfter     = 10 * time.Minute // after the last phone that drove the session went away

	// risePerSecond is how fast a level goes up while a pattern stays; it falls at once.
	risePerSecond = 0.5

	// longestStep is the most time in which light rises from one frame to the next.
	longestStep = 100 * time.Millisecond
)

// Request is what somebody asks to be shown.
type Request struct {
	Pattern string
	Strings []string // names; none: all
	Level   float64  // 0-1
	Options patterns.Options

	// LevelExplicit says that a person named the level. It lifts the careful default
	// where a fuse or supply is unknown, and never a cap that is known.
	LevelExplicit bool

	// Most is what the level may not pass, for a reason that MostBy gives; 0: nothing
	// but the plan limits it.
	Most   float64
	MostBy string

	// Hold is how long full-white stays before the session falls back to the
	// pattern before it; 0 is DefaultHold, and Forever is for the burn-in, whose
	// programme says when to go on.
	Hold time.Duration

	By    string // the person who asks, for other people; "": the program itself
	Phone bool   // a phone asks: when the last one has gone, the level goes down
}

// Forever is the Hold of a pattern that does not fall back.
const Forever = time.Duration(1<<63 - 1)

// Session is safe for concurrent use. The frame clock waits for mu, so nothing
// that takes time is done under it: whoever asks for something prepares it
// under asking first.
type Session struct {
	asking  sync.Mutex
	mu      sync.Mutex
	scene   *scene   // changes under both
	now     *picture // what is shown
	earlier *picture // what full-white falls back to
	shown   Shown
	stale   bool      // the slots hold an older look
	last    time.Time // deadline of the last frame rendered
	changed time.Time // when the picture in the slots began
	next    time.Time // when the frame in the slots is over
	scale   scale     // of the frame in the slots

	phones    int
	idleSince time.Time

	hold        *Hold // nil: nobody holds
	holdChanged chan struct{}
	programme   bool
	lit         bool // something has reached its level since the start: until then light comes up slowly
}

// New returns a session that shows dark.
func New(plan *config.Plan, b *budget.Budget) *Session {
	s := &Session{scene: newScene(plan, b), holdChanged: make(chan struct{})}
	s.goDark(time.Time{})
	return s
}

// Scene returns the streams of the plan and what fills them.
func (s *Session) Scene() source.Scene {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.scene.source(s)
}

func (sc *scene) source(s *Session) source.Scene {
	return source.Scene{
		Streams: streams(sc.addr), Dark: sc.dark,
		Render: func(f source.Frame, slots [][]byte) { s.render(sc, f.Deadline, slots) },
	}
}

// Streams returns the streams of a plan.
func Streams(plan *config.Plan) []source.Stream { return streams(plan.Map()) }

func streams(addr *config.AddressMap) []source.Stream {
	var list []source.Stream
	for _, u := range addr.Universes {
		stream := source.Stream{Universe: u.Number, Slots: u.Channels, Unicast: u.Address}
		if len(u.Controllers) > 0 {
			stream.Controller = u.Controllers[0].Name
		}
		list = append(list, stream)
	}
	return list
}

// Reload puts another plan in place. What is shown stays, on the strings that
// are still there, at a level that is never higher than it was.
func (s *Session) Reload(plan *config.Plan, b *budget.Budget) source.Scene {
	s.asking.Lock()
	defer s.asking.Unlock()
	sc := newScene(plan, b)
	for {
		s.mu.Lock()
		request, earlier, level, change := s.now.request, s.earlier.request, s.shown.Level, s.shown.Change
		s.mu.Unlock()
		request.Level = min(request.Level, level)
		now, before := sc.prepare(sc.stillThere(request)), sc.prepare(sc.stillThere(earlier))
		if s.replace(sc, now, before, change) {
			return sc.source(s)
		}
	}
}

// replace puts a scene in place with what was made ready for it, unless what is
// shown has changed meanwhile: dark that was pressed, or white that has ended,
// must not be undone.
func (s *Session) replace(sc *scene, now, earlier *picture, change uint64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.shown.Change != change {
		return false
	}
	same := now.request.Pattern == s.now.request.Pattern
	fallsBack, levelNow := s.shown.FallsBack, s.shown.LevelNow
	s.scene, s.earlier = sc, earlier
	s.begin(now, s.shown.Since)
	if same {
		s.shown.LevelNow = min(levelNow, s.shown.Level) // on its way up it stays there
		s.shown.FallsBack = fallsBack
	}
	return true
}

// stillThere is a request without the strings that the plan no longer has; dark
// when none is left.
func (sc *scene) stillThere(r Request) Request {
	if len(r.Strings) == 0 {
		return r
	}
	r.Strings = slices.DeleteFunc(slices.Clone(r.Strings), func(name string) bool {
		_, ok := sc.byName[name]
		return !ok
	})
	if len(r.Strings) == 0 {
		return Request{Pattern: patterns.Dark}
	}
	return r
}

// Show puts something else on the strings, and returns what came of it. It
// fails, and changes nothing, for a pattern or string that does not exist, a level
// outside 0-1, and while a [Hold] forbids it ([ErrHeld]).
func (s *Session) Show(r Request) (Snapshot, error) {
	s.asking.Lock()
	defer s.asking.Unlock()
	if err := s.scene.check(r); err != nil {
		return s.Snapshot(), err
	}
	next := s.scene.prepare(r)

	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.mayShow(r, next.pattern.Dark); err != nil {
		return s.snapshot(), err
	}
	s.chosen(r, s.last)
	if !s.now.pattern.Load {
		s.earlier = s.now
	}
	level := s.shown.LevelNow
	if s.now.pattern.Dark {
		level = 0
	}
	same := r.Pattern == s.now.request.Pattern
	since := s.last
	if earliest := s.changed.Add(patterns.MinChange); !next.pattern.Dark && !s.changed.IsZero() && since.Before(earliest) {
		since = earliest
	}
	s.begin(next, since)
	if same || !s.lit {
		s.shown.LevelNow = min(level, s.shown.Level)
	}
	return s.snapshot(), nil
}

// begin makes a picture what is shown since a moment.
func (s *Session) begin(l *picture, since time.Time) {
	s.now = l
	s.shown = Shown{
		Pattern: l.pattern, Strings: l.names, Options: l.request.Options,
		Level: l.level, LevelNow: l.level, CappedBy: l.cappedBy,
		Since: since, Change: s.shown.Change + 1,
	}
	if hold := l.request.Hold; l.pattern.Load && hold != Forever {
		if hold == 0 {
			hold = DefaultHold
		}
		s.shown.FallsBack = since.Add(min(hold, MaxHold))
	}
	s.stale = true
}

// Phones tells how many phones are connected. When the last one has been gone
// for ten minutes and a phone chose what is shown, the level goes down to 10 %.
func (s *Session) Phones(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n == 0 && s.phones > 0 {
		s.idleSince = s.last
	}
	s.phones = n
}

// Slots appends a string's slots as they were last sent to b: what its pixels
// should look like right now.
func (s *Session) Slots(b []byte, name string) ([]byte, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i, ok := s.scene.byName[name]
	if !ok {
		return b, false
	}
	return append(b, s.scene.buffers[i]...), true
}
