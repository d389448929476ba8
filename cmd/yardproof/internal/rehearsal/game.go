package rehearsal

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// MostHidden is how many faults one evening hides.
const MostHidden = 10

// What things take on an evening (common practice, no source).
const (
	walking   = 2 * time.Minute // to another string
	ladder    = 4 * time.Minute // up to a pixel and down again
	atGround  = time.Minute     // a feed's fuse block, a supply
	setting   = 3 * time.Minute // at a controller's own page
	plugging  = 3 * time.Minute // a plug, a fuse
	replacing = 10 * time.Minute
)

// game is what is hidden, and what finding it has taken.
type game struct {
	hidden []hidden
	at     string        // the string where the helper stands
	spent  time.Duration // simulated
	climbs int
	wrong  int           // mended what was not broken
	over   bool          // and nothing is counted any more
	took   time.Duration // the whole evening, once it is over
}

type hidden struct {
	yard.Fault
	found bool
}

// left are the hidden faults that are still there.
func (g *game) left() []yard.Fault {
	var list []yard.Fault
	for _, h := range g.hidden {
		if !h.found {
			list = append(list, h.Fault)
		}
	}
	return list
}

// hide draws the faults that are to be found: each shows by itself, and has a string
// of its own as far as there are strings.
func (r *Rehearsal) hide() error {
	rng := rand.New(rand.NewPCG(r.cfg.Seed, 7))
	kinds := yard.Kinds()
	taken := map[string]bool{}
	for tries := 0; len(r.game.hidden) < r.cfg.Hidden; tries++ {
		if tries > 200*r.cfg.Hidden {
			return fmt.Errorf("the plan has no place for %s", textout.Count(r.cfg.Hidden, "hidden fault"))
		}
		k := kinds[rng.IntN(len(kinds))]
		f, ok := yard.Random(rng, r.cfg.Plan, k.Kind, k.Range[0], k.Range[1])
		if !ok || tries < 100*r.cfg.Hidden && (taken[f.String] || taken[f.With] && f.With != "") {
			continue
		}
		if shows, err := r.shows(f); err != nil {
			return err
		} else if !shows {
			continue
		}
		taken[f.String] = true
		if f.With != "" {
			taken[f.With] = true
		}
		r.game.hidden = append(r.game.hidden, hidden{Fault: f})
	}
	return nil
}

// walk is what the way to a string takes.
func (r *Rehearsal) walk(name string) time.Duration {
	if r.game.at == name {
		return 0
	}
	r.game.at = name
	return walking
}

// charge lets what was done take its time, when somebody is counted.
func (r *Rehearsal) charge(d time.Duration) time.Duration {
	if r.cfg.Hidden == 0 || r.game.over {
		return 0
	}
	r.game.spent += d
	r.spend(d)
	return d
}

// A claim is what the helper thinks is wrong.
type claim struct {
	Kind   yard.Kind `json:"kind"`
	String string    `json:"string"`
	Place  int       `json:"place"`
}

// near is how many pixels beside the place a fault may be named: the joint and the
// pixels on both its sides are looked at together.
const near = 1

// work is what is done about a kind: kinds that the same work mends need not be told
// apart, as a chip that is dead and the broken lead ahead of it cannot be.
type work struct {
	at    yard.At // what its place counts
	takes time.Duration
	climb bool
	same  bool // as for the other kinds with this value
}

var (
	atPixel  = work{yard.Pixel, ladder + replacing, true, true} // a new pixel, and both its joints made anew
	atFeed   = work{yard.Feed, plugging, false, true}           // its plugs, its fuse, its lead
	atSupply = work{yard.Whole, replacing, false, true}
	rewire   = work{yard.Whole, ladder + replacing, true, false} // the string is taken down for another
	replug   = work{yard.Whole, plugging, false, false}
	reroute  = work{yard.Whole, replacing, false, false} // a lead, a switch
	set      = work{yard.Whole, setting, false, false}
)

// workFor is what mending a kind takes; false: there is no such kind.
func workFor(k yard.Kind) (work, bool) {
	info, ok := yard.Lookup(k)
	switch {
	case !ok:
		return work{}, false
	case info.At == yard.Pixel || info.At == yard.Joint:
		return atPixel, true
	case info.At == yard.Feed:
		return atFeed, true
	case info.Reach == yard.OfSupply:
		return atSupply, true
	case k == yard.ThinWire || k == yard.WrongChip || k == yard.FourForThree:
		return rewire, true
	case info.Swap || k == yard.NoReturnBond:
		return replug, true
	case k == yard.LongDataLead || k == yard.SwitchStops:
		return reroute, true
	}
	return set, true
}

// hits reports whether mending what a claim names mends this fault.
func (c claim) hits(f yard.Fault, p *config.Plan) bool {
	info, _ := yard.Lookup(f.Kind)
	mine, _ := workFor(c.Kind)
	need, _ := workFor(f.Kind)
	if mine != need || !need.same && c.Kind != f.Kind {
		return false
	}
	a, b := p.Find(c.String), p.Find(f.String)
	there := a == b || info.Swap && c.String == f.With
	switch info.Reach {
	case yard.OfController:
		there = a.Controller == b.Controller
	case yard.OfSupply:
		there = supplyOf(a) == supplyOf(b)
	}
	switch need.at {
	case yard.Pixel:
		there = there && c.Place >= f.Place-near && c.Place <= f.Place+near
	case yard.Feed:
		there = there && c.Place == f.Place
	}
	return there
}

// supplyOf is the supply of a string's first feed; nil: none is named.
func supplyOf(s *config.String) *config.Supply { return s.Feeds[0].Supply }

// mend tries a claim: what is named is replaced or put right, and that takes its
// time, whether or not it was broken. It returns what was mended so; "": nothing.
func (r *Rehearsal) mend(c claim) (was string, took time.Duration, err error) {
	w, ok := workFor(c.Kind)
	s := r.cfg.Plan.Find(c.String)
	switch {
	case !ok:
		return "", 0, fmt.Errorf("there is no kind of fault %.40q", c.Kind)
	case s == nil:
		return "", 0, fmt.Errorf("the plan has no string %.40q", c.String)
	case w.at == yard.Pixel && (c.Place < 1 || c.Place > s.Pixels):
		return "", 0, fmt.Errorf("the pixels of %s are 1 to %d; give one of them as the place", s.Name, s.Pixels)
	case w.at == yard.Feed && (c.Place < 1 || c.Place > len(s.Feeds)):
		return "", 0, fmt.Errorf("the feeds of %s are 1 to %d; give one of them as the place", s.Name, len(s.Feeds))
	case r.game.over:
		return "", 0, errors.New("the evening is over; start the rehearsal again for another one")
	}
	took = r.charge(r.walk(c.String) + w.takes)
	if w.climb {
		r.game.climbs++
	}
	for i, h := range r.game.hidden {
		if h.found || !c.hits(h.Fault, r.cfg.Plan) {
			continue
		}
		r.game.hidden[i].found = true
		if len(r.game.left()) == 0 {
			r.end()
		}
		return describe(h.Fault), took, r.lay()
	}
	r.game.wrong++
	return "", took, nil
}

// end stops what is counted.
func (r *Rehearsal) end() {
	if !r.game.over {
		r.game.over, r.game.took = true, r.now()
	}
}

// Score is how an evening went.
type Score struct {
	Found   []string `json:"found"`
	Missed  []string `json:"missed"`
	Wrong   int      `json:"wrong"`   // mended what was not broken
	Climbs  int      `json:"climbs"`  // ladder trips
	Minutes float64  `json:"minutes"` // real ones and simulated ones
	Over    bool     `json:"over"`
	Seed    uint64   `json:"seed"` // hides the same faults again
}

// score tells how it stands.
func (r *Rehearsal) score() Score {
	took := r.game.took
	if !r.game.over {
		took = r.now()
	}
	s := Score{Found: []string{}, Missed: []string{}, Wrong: r.game.wrong, Climbs: r.game.climbs, Minutes: took.Minutes(), Over: r.game.over, Seed: r.cfg.Seed}
	for _, h := range r.game.hidden {
		if h.found {
			s.Found = append(s.Found, describe(h.Fault))
		} else {
			s.Missed = append(s.Missed, describe(h.Fault))
		}
	}
	return s
}

// Score ends the evening and tells how it went.
func (r *Rehearsal) Score() Score {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.end()
	return r.score()
}

// describe names a fault in words.
func describe(f yard.Fault) string {
	info, _ := yard.Lookup(f.Kind)
	where := f.String
	switch info.At {
	case yard.Pixel:
		where = fmt.Sprintf("%s, pixel %d", f.String, f.Place)
	case yard.Joint:
		where = fmt.Sprintf("%s, between pixel %d and %d", f.String, f.Place, f.Place+1)
	case yard.Feed:
		where = fmt.Sprintf("%s, feed %d", f.String, f.Place)
	}
	if f.With != "" {
		where += " and " + f.With
	}
	words := fmt.Sprintf("%s: %s", where, f.Kind)
	if info.Unit != "" {
		words += fmt.Sprintf(" (%.3g %s)", f.Severity, info.Unit)
	}
	return words
}

// Lines tells the score for a terminal.
func (s Score) Lines() []string {
	lines := []string{fmt.Sprintf("evening %d: found %d of %s in %s, with %s; mended what was not broken: %d",
		s.Seed, len(s.Found), textout.Count(len(s.Found)+len(s.Missed), "fault"), textout.Count(int(math.Round(s.Minutes)), "minute"), textout.Count(s.Climbs, "ladder trip"), s.Wrong)}
	for _, f := range s.Found {
		lines = append(lines, "found   "+f)
	}
	for _, f := range s.Missed {
		lines = append(lines, "missed  "+f)
	}
	return lines
}
