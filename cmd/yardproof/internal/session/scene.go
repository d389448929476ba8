package session

import (
	"errors"
	"fmt"
	"slices"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// scene is one plan made ready for rendering.
type scene struct {
	plan     *config.Plan
	budget   *budget.Budget
	layouts  []patterns.Layout
	buffers  [][]byte // each string's slots as last rendered, level applied
	addr     *config.AddressMap
	reserved []reserved
	spare    []spare
	byName   map[string]int
	allDark  *picture
}

// reserved is a range of slots that belongs to something else.
type reserved struct {
	universe    int // index in the address map
	first, last int // slots, from 0
	value       byte
}

// spare is a run of slots that nothing in the plan has.
type spare struct {
	universe    int // index in the address map
	first, last int // slots, from 0
}

func newScene(plan *config.Plan, b *budget.Budget) *scene {
	sc := &scene{plan: plan, budget: b, addr: plan.Map(), byName: map[string]int{}}
	for i, s := range plan.Strings {
		l := light.Layout(s)
		for _, c := range sc.addr.Strings[i].Copies {
			l.Runs = append(l.Runs, patterns.Run{First: c.From, Length: c.Length, Address: c.Universe*patterns.CodeUniverse + c.At})
		}
		sc.layouts = append(sc.layouts, l)
		sc.buffers = append(sc.buffers, make([]byte, s.Pixels*s.ChannelsPerPixel()))
		sc.byName[s.Name] = i
	}
	for _, k := range plan.Reserved {
		for i, u := range sc.addr.Universes {
			if u.Number == k.Universe {
				sc.reserved = append(sc.reserved, reserved{i, k.First - 1, k.Last - 1, byte(k.Value)})
			}
		}
	}
	sc.spare = sc.findSpare()
	sc.allDark = sc.prepare(Request{Pattern: patterns.Dark})
	return sc
}

func (sc *scene) findSpare() (runs []spare) {
	taken := make([][]bool, len(sc.addr.Universes))
	for i, u := range sc.addr.Universes {
		taken[i] = make([]bool, u.Channels)
	}
	for _, s := range sc.addr.Strings {
		for _, c := range s.Copies {
			for k := range c.Length {
				taken[c.Universe][c.At+k] = true
			}
		}
	}
	for _, k := range sc.reserved {
		for i := k.first; i <= k.last && i < len(taken[k.universe]); i++ {
			taken[k.universe][i] = true
		}
	}
	for u, slots := range taken {
		for i, t := range slots {
			switch {
			case t:
			case i > 0 && !slots[i-1]:
				runs[len(runs)-1].last = i
			default:
				runs = append(runs, spare{u, i, i})
			}
		}
	}
	return runs
}

// ErrRequest is wrapped by every error of Show.
var ErrRequest = errors.New("cannot be shown")

func (sc *scene) check(r Request) error {
	p, ok := patterns.Lookup(r.Pattern)
	if !ok {
		return fmt.Errorf("pattern %q %w: %s", r.Pattern, ErrRequest, config.Suggest(r.Pattern, patterns.Names()))
	}
	for _, name := range r.Strings {
		if _, ok := sc.byName[name]; !ok {
			return fmt.Errorf("string %q %w: the plan has none of that name; %s", name, ErrRequest, sc.plan.NoString(name))
		}
	}
	pixels, slots := sc.most(r.Strings)
	switch {
	case p.Takes == patterns.PixelSetting && r.Options.Pixel > pixels:
		return fmt.Errorf("pixel %d %w: there are %d", r.Options.Pixel, ErrRequest, pixels)
	case p.Takes == patterns.SlotSetting && r.Options.Slot > slots:
		return fmt.Errorf("slot %d %w: a pixel has %d", r.Options.Slot, ErrRequest, slots)
	case p.Takes == patterns.BlockSetting:
		if err := checkBlock(r.Options.First, r.Options.Last, pixels); err != nil {
			return err
		}
	}
	if !(r.Level >= 0 && r.Level <= 1) {
		return fmt.Errorf("level %.4g %% %w: it goes from 0 to 100 %%", r.Level*100, ErrRequest)
	}
	if r.Hold < 0 {
		return fmt.Errorf("hold %v %w: it cannot be negative", r.Hold, ErrRequest)
	}
	return nil
}

// checkBlock refuses a block that the longest of the strings cannot show; 0 and 0 is
// the pattern's own.
func checkBlock(first, last, pixels int) error {
	most := patterns.MostBlock(pixels)
	switch {
	case first == 0 && last == 0:
		return nil
	case first < 1 || last < first || last > pixels:
		return fmt.Errorf("pixels %d to %d %w: name the first and the last of 1 to %d", first, last, ErrRequest, pixels)
	case last-first >= most:
		return fmt.Errorf("pixels %d to %d %w: a block is at most half of the string, %d pixels here; full-white lights them all", first, last, ErrRequest, most)
	}
	return nil
}

// most returns the pixels, and the slots of a pixel, of the longest and the
// widest of the strings; none named: of all.
func (sc *scene) most(names []string) (pixels, slots int) {
	for i, s := range sc.plan.Strings {
		if len(names) == 0 || slices.Contains(names, s.Name) {
			pixels, slots = max(pixels, s.Pixels), max(slots, len(sc.layouts[i].Order))
		}
	}
	return pixels, slots
}

// picture is a checked request with everything worked out that takes time. Once
// it is shown it is not changed.
type picture struct {
	request  Request
	pattern  patterns.Pattern
	lit      []int     // strings, indices in the plan
	names    []string  // of them
	duty     []float64 // of each string of the plan, by the pattern's worst frame
	level    float64   // after caps
	cappedBy string    // "": nothing
}

func (sc *scene) prepare(r Request) *picture {
	l := &picture{request: r, duty: make([]float64, len(sc.layouts))}
	l.pattern, _ = patterns.Lookup(r.Pattern)
	if len(r.Strings) == 0 {
		for i := range sc.layouts {
			l.lit = append(l.lit, i)
		}
	}
	for _, name := range r.Strings {
		l.lit = append(l.lit, sc.byName[name])
	}
	slices.Sort(l.lit)
	l.lit = slices.Compact(l.lit)
	l.names = make([]string, 0, len(l.lit))
	for _, i := range l.lit {
		l.names = append(l.names, sc.plan.Strings[i].Name)
		l.duty[i] = l.pattern.Worst(sc.layouts[i], r.Options)
	}
	c := light.Limit(sc.budget, l.pattern, l.duty)
	if r.LevelExplicit { // whoever asks for a level takes upon himself what is not known
		c.Level, c.By = c.Bound, c.BoundBy
	}
	l.level = r.Level
	if r.Level > c.Level {
		l.level, l.cappedBy = c.Level, c.By
	}
	if r.Most > 0 {
		l = l.atMost(r.Most, r.MostBy)
	}
	return l
}

// atMost is a picture at a level of at most limit.
func (l picture) atMost(limit float64, why string) *picture {
	l.request.Level = min(l.request.Level, limit)
	if l.level > limit {
		l.level, l.cappedBy = limit, why
	}
	return &l
}
