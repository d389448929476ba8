// Package session is what is being shown now: which pattern, on which strings,
// at what level, capped by what, until when. The page, the metrics and the
// status line all read one snapshot of it. It refuses to know about HTTP, about
// sockets and about the disk; time reaches it with each frame.
package session

import (
	"errors"
	"fmt"
	"slices"
	"strings"
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
)

// Request is what somebody asks to be shown.
type Request struct {
	Pattern string
	Strings []string // names; none: all
	Level   float64  // 0-1
	Options patterns.Options

	// Asked says that a person named the level. It lifts the careful default
	// where a fuse or supply is unknown, and never a cap that is known.
	Asked bool

	// Hold is how long full-white stays before the session falls back to the
	// pattern before it; 0 is DefaultHold, and Forever is for the burn-in, whose
	// programme says when to go on.
	Hold time.Duration
}

// Forever is the Hold of a pattern that does not fall back.
const Forever = time.Duration(1<<63 - 1)

// Showing is what is shown.
type Showing struct {
	Pattern  string
	Strings  []string // in the plan's order
	Options  patterns.Options
	Level    float64 // the target, after caps
	LevelNow float64 // at this moment, on the way to the target
	CappedBy string  // what lowered the level that was asked for; "": nothing

	Since     time.Time
	FallsBack time.Time // when full-white ends by itself; zero: it does not
	Change    uint64    // counts what was shown, so that two pictures can be told apart
}

// Session is safe for concurrent use.
type Session struct {
	mu      sync.Mutex
	scene   *scene
	show    Showing
	request Request // as asked, to be capped again after a reload
	earlier Request // what full-white falls back to
	lit     []int   // strings shown, indices in the plan
	pattern patterns.Pattern
	stale   bool      // the slots hold an older look
	last    time.Time // deadline of the last frame rendered
	changed time.Time // when the look in the slots began
	next    time.Time // when the frame in the slots is over
	scale   scale     // of the frame in the slots

	phones    int
	driven    bool // a phone chose what is shown
	idleSince time.Time
}

// scene is one plan made ready for rendering.
type scene struct {
	plan    *config.Plan
	budget  *budget.Budget
	layouts []patterns.Layout
	buffers [][]byte // each string's slots as last rendered, level applied
	addr    *config.AddressMap
	keeps   []keep
	byName  map[string]int
}

// keep is a range of slots that belongs to something else.
type keep struct {
	universe    int // index in the address map
	first, last int // slots, from 0
	value       byte
}

func newScene(plan *config.Plan, b *budget.Budget) *scene {
	sc := &scene{plan: plan, budget: b, addr: plan.Map(), byName: map[string]int{}}
	for i, s := range plan.Strings {
		l := patterns.Layout{Pixels: s.Pixels, Order: string(s.Order), Number: i + 1, Plain: s.Chip.Name == config.ChipNone}
		sc.layouts = append(sc.layouts, l)
		sc.buffers = append(sc.buffers, make([]byte, s.Pixels*s.ChannelsPerPixel()))
		sc.byName[s.Name] = i
	}
	for _, k := range plan.Keep {
		for i, u := range sc.addr.Universes {
			if u.Number == k.Universe {
				sc.keeps = append(sc.keeps, keep{i, k.First - 1, k.Last - 1, byte(k.Value)})
			}
		}
	}
	return sc
}

// New returns a session that shows dark.
func New(plan *config.Plan, b *budget.Budget) *Session {
	s := &Session{scene: newScene(plan, b)}
	s.apply(Request{Pattern: "dark"}, time.Time{})
	return s
}

// Look returns the streams of the plan and what fills them.
func (s *Session) Look() source.Look {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.scene.look(s)
}

func (sc *scene) look(s *Session) source.Look {
	var look source.Look
	for _, u := range sc.addr.Universes {
		stream := source.Stream{Universe: uint16(u.Number), Slots: u.Channels, Unicast: u.Address}
		if len(u.Controllers) > 0 {
			stream.Controller = u.Controllers[0].Name
		}
		look.Streams = append(look.Streams, stream)
	}
	look.Render = func(f source.Frame, slots [][]byte) { s.render(sc, f.Deadline, slots) }
	look.Dark = sc.dark
	return look
}

// Reload puts another plan in place. What is shown stays, on the strings that
// are still there, at a level that is never higher than it was.
func (s *Session) Reload(plan *config.Plan, b *budget.Budget) source.Look {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.scene = newScene(plan, b)
	request, level, options := s.request, s.show.Level, s.show.Options
	all := len(request.Strings) == 0
	request.Strings = slices.DeleteFunc(slices.Clone(request.Strings), func(name string) bool {
		_, ok := s.scene.byName[name]
		return !ok
	})
	request.Options = options
	request.Level = min(request.Level, level)
	if !all && len(request.Strings) == 0 {
		request = Request{Pattern: "dark"}
	}
	since, fallsBack := s.show.Since, s.show.FallsBack
	s.apply(request, since)
	if s.show.Pattern == request.Pattern {
		s.show.FallsBack = fallsBack
	}
	return s.scene.look(s)
}

// Show puts something else on the strings, and returns what came of it. It
// fails, and changes nothing, for a pattern or string that does not exist and a
// level outside 0-1.
func (s *Session) Show(r Request) (Showing, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.check(r); err != nil {
		return s.show, err
	}
	if s.pattern.Name != "full-white" {
		s.earlier = s.request
	}
	level := s.show.LevelNow
	same := r.Pattern == s.pattern.Name
	since := s.last
	if earliest := s.changed.Add(patterns.MinChange); r.Pattern != "dark" && !s.changed.IsZero() && since.Before(earliest) {
		since = earliest
	}
	s.driven = false // until Driven says so again
	s.apply(r, since)
	if same {
		s.show.LevelNow = min(level, s.show.Level)
	}
	return s.show, nil
}

// Dark shows dark on all strings.
func (s *Session) Dark() Showing {
	show, err := s.Show(Request{Pattern: "dark"})
	if err != nil {
		panic(err) // dark takes nothing that could be wrong
	}
	return show
}

// ErrRequest is wrapped by every error of Show.
var ErrRequest = errors.New("cannot be shown")

func (s *Session) check(r Request) error {
	if _, ok := patterns.Lookup(r.Pattern); !ok {
		var names []string
		for _, p := range patterns.All() {
			names = append(names, p.Name)
		}
		return fmt.Errorf("pattern %q %w: there are %s", r.Pattern, ErrRequest, strings.Join(names, ", "))
	}
	for _, name := range r.Strings {
		if _, ok := s.scene.byName[name]; !ok {
			return fmt.Errorf("string %q %w: the plan has no such string", name, ErrRequest)
		}
	}
	if !(r.Level >= 0 && r.Level <= 1) {
		return fmt.Errorf("level %v %w: it goes from 0 to 1", r.Level, ErrRequest)
	}
	if r.Hold < 0 {
		return fmt.Errorf("hold %v %w: it cannot be negative", r.Hold, ErrRequest)
	}
	return nil
}

// apply makes a checked request what is shown since a moment.
func (s *Session) apply(r Request, since time.Time) {
	pattern, _ := patterns.Lookup(r.Pattern)
	s.request, s.pattern = r, pattern
	s.lit = s.lit[:0]
	if len(r.Strings) == 0 {
		for i := range s.scene.layouts {
			s.lit = append(s.lit, i)
		}
	} else {
		for _, name := range r.Strings {
			s.lit = append(s.lit, s.scene.byName[name])
		}
		slices.Sort(s.lit)
		s.lit = slices.Compact(s.lit)
	}
	level, by := s.capped(r)
	s.show = Showing{
		Pattern: r.Pattern, Options: r.Options,
		Level: level, LevelNow: level, CappedBy: by,
		Since: since, Change: s.show.Change + 1,
	}
	for _, i := range s.lit {
		s.show.Strings = append(s.show.Strings, s.scene.plan.Strings[i].Name)
	}
	if hold := r.Hold; r.Pattern == "full-white" && hold != Forever {
		if hold == 0 {
			hold = DefaultHold
		}
		s.show.FallsBack = since.Add(min(hold, MaxHold))
	}
	s.stale = true
}

// capped returns the level after caps, for the worst frame of the pattern on
// all strings that are lit, and what lowered it.
func (s *Session) capped(r Request) (level float64, by string) {
	duty := make([]float64, len(s.scene.layouts))
	for _, i := range s.lit {
		duty[i] = s.pattern.Worst(s.scene.layouts[i], r.Options)
	}
	limit := s.scene.budget.Cap
	if s.pattern.Name == "full-white" {
		limit = s.scene.budget.CapSpread // it lights every pixel, or a count evenly spread
	}
	c := limit(duty)
	if r.Asked { // whoever asks for a level takes upon himself what is not known
		c.Level, c.By = c.Bound, c.BoundBy
	}
	if r.Level <= c.Level {
		return r.Level, ""
	}
	return c.Level, c.By
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

// Driven notes that a phone chose what Show has just put on the strings.
func (s *Session) Driven() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.driven = true
}

// Showing returns what is shown.
func (s *Session) Showing() Showing {
	s.mu.Lock()
	defer s.mu.Unlock()
	show := s.show
	show.Strings = slices.Clone(show.Strings)
	return show
}

// Plan returns the plan that is shown now, and its budget.
func (s *Session) Plan() (*config.Plan, *budget.Budget) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.scene.plan, s.scene.budget
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

// SupplyAmps returns the amps predicted for each supply of the plan at this
// moment's level, by the pattern's worst frame.
func (s *Session) SupplyAmps() map[string]float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	duty := make([]float64, len(s.scene.layouts))
	for _, i := range s.lit {
		duty[i] = s.pattern.Worst(s.scene.layouts[i], s.show.Options)
	}
	return s.scene.budget.SupplyAmps(duty, s.show.LevelNow)
}
