// Package belief weighs causes: what was seen and read of a string, and what its
// neighbours did, gives each cause its odds, and the odds say which look is worth its
// trouble. It refuses to know who looks, what is lit and how answers are worded for a
// page; wire and meters are physics, and what a cause looks like is common practice
// without a published source.
package belief

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Test is one way to look, or to read a meter.
type Test string

// The tests. Every one but Volts along the string is done from the ground.
const (
	White  Test = "white"  // every string white, at a low level
	Dark   Test = "dark"   // nothing lit
	Alone  Test = "alone"  // only this string lit: which one answers?
	Slots  Test = "slots"  // one-slot, slot after slot
	Ends   Test = "ends"   // the pattern of that name
	Bright Test = "bright" // white, as bright as the plan allows
	Low    Test = "low"    // white at one twentieth
	Later  Test = "later"  // white, after ten minutes of one colour
	Watch  Test = "watch"  // one colour for three minutes, on film: where does it sparkle first?
	Heard  Test = "heard"  // does the transmitter hear another sender?
	More   Test = "more"   // does it sparkle more when it is bright than when it is faint?
	Amps   Test = "amps"   // of one feed, white and if possible dark
	Volts  Test = "volts"  // at a pixel while it is white; 0: at the supply
	Mended Test = "mended" // a cause was put right; looks before it had it, if it was one
)

// Sign is what is seen.
type Sign string

// The signs. Those of a tail and of one pixel go with the last good pixel, those of a
// head with the last bad one.
const (
	Fine        Sign = "fine"
	AllDark     Sign = "dark"
	DarkTail    Sign = "dark tail"
	DarkHead    Sign = "dark head"
	DarkOne     Sign = "dark pixel"
	Dim         Sign = "dim"
	DimTail     Sign = "dim tail"
	Colours     Sign = "colours" // wrong ones everywhere
	ColoursTail Sign = "colours tail"
	ColoursOne  Sign = "colours pixel" // one pixel, or one of its LEDs
	Noise       Sign = "noise"
	NoiseTail   Sign = "noise tail"
	Pictures    Sign = "pictures" // whole pictures in turn
	Lit         Sign = "lit"      // and should not be
	Mixed       Sign = "mixed"    // neighbours differ that should not
	Moved       Sign = "moved"    // the picture stands elsewhere on the string
	Backward    Sign = "backward" // it begins at the far end
	Another     Sign = "another"  // another string answers, another sender is heard, another order
	Nothing     Sign = "nothing"  // no string answers
)

// A Look is one thing that was seen or read.
type Look struct {
	Test   Test     `json:"test"`
	Sign   Sign     `json:"sign,omitempty"`
	Pixel  int      `json:"pixel,omitempty"`  // see [Sign]; of volts: where
	Feed   int      `json:"feed,omitempty"`   // of amps: index as in the plan
	Return bool     `json:"return,omitempty"` // of amps: the clamp is round the return lead
	First  int      `json:"first,omitempty"`  // of amps and volts: the block of pixels that is lit; 0: all
	Last   int      `json:"last,omitempty"`
	Value  float64  `json:"value,omitempty"` // amperes or volts
	Dark   *float64 `json:"dark,omitempty"`  // amperes before, in the dark
	Others []Other  `json:"others,omitempty"`
	Cause  Kind     `json:"cause,omitempty"` // of mended: what was put right, at Pixel or Feed
}

// Other is what another string did during a look at white.
type Other struct {
	Index int  `json:"index"` // as in the plan
	Wrong bool `json:"wrong"` // as this one
}

// Subject is the string in question, with what is known about it before any look.
type Subject struct {
	Plan   *config.Plan
	Budget *budget.Budget
	String *config.String
	Lit    light.Lit    // while meters are read
	Volt   config.Meter // the voltmeter's error; the clamp's is the plan's
	Known  map[Kind]int // how often each cause was put right in this yard before

	laid *model // kept between looks
}

// Cause is one cause with its odds.
type Cause struct {
	Kind    Kind    `json:"kind"`
	Text    string  `json:"cause"`           // in words, with its place
	Share   float64 `json:"share"`           // 0 to 1
	Place   int     `json:"place,omitempty"` // the pixel, or the one ahead of a joint
	From    int     `json:"from,omitempty"`  // the place is between these, nine times out of ten
	To      int     `json:"to,omitempty"`
	Feed    int     `json:"feed,omitempty"` // from 1
	Because string  `json:"because,omitempty"`

	stands bool // the place is likelier than all others together
}

// Verdict is what all looks say together.
type Verdict struct {
	Causes []Cause `json:"causes"`         // likeliest first; what is next to nothing is left out
	Next   *Look   `json:"next,omitempty"` // the look that tells most for the least trouble
	Work   []int   `json:"work"`           // causes, by index, in the order in which to put them right
	Sure   bool    `json:"sure"`           // the first cause stands out
	Well   bool    `json:"well"`           // all but surely nothing is wrong
	Quiet  bool    `json:"quiet"`          // nothing wrong was seen or read so far
}

// Shares that decide.
const (
	sure     = 0.8
	well     = 0.97
	shown    = 0.002 // less is not worth a line
	unlikely = 1e-9
	excluded = 14 // nats
)

// Weigh says what the looks mean. An error says which look cannot be.
func (s *Subject) Weigh(looks []Look) (Verdict, error) {
	for i, l := range looks {
		if err := s.check(l); err != nil {
			return Verdict{}, fmt.Errorf("look %d, %s: %w", i+1, l.Test, err)
		}
	}
	m := s.laid
	if m == nil || s.String.Pixels > mostPlaces {
		m = s.model(looks)
		s.laid = m
	}
	m.looks = looks
	m.weigh()
	return m.verdict(), nil
}

func (s *Subject) check(l Look) error {
	n := s.String.Pixels
	switch {
	case math.IsNaN(l.Value) || math.Abs(l.Value) > 1000:
		return fmt.Errorf("%g cannot be what a meter showed", l.Value)
	case l.Pixel < 0 || l.Pixel > n:
		return fmt.Errorf("pixel %d is not one of 1 to %d", l.Pixel, n)
	case l.First < 0 || l.Last > n || l.First > l.Last || (l.First == 0) != (l.Last == 0):
		return fmt.Errorf("pixels %d to %d are no block of 1 to %d", l.First, l.Last, n)
	case (l.Test == Amps || l.Test == Mended) && (l.Feed < 0 || l.Feed >= len(s.String.Feeds)):
		return fmt.Errorf("there is no feed %d", l.Feed+1)
	case l.Test == Mended && !slices.ContainsFunc(table(), func(c cause) bool { return c.Kind == l.Cause && c.takes > 0 && c.Kind != Unknown }):
		return fmt.Errorf("%.40q is no cause that can be put right", l.Cause)
	case (l.Test == Amps || l.Test == Volts) && l.First > 0 && l.Last-l.First >= patterns.MostBlock(n):
		return fmt.Errorf("a block is %d pixels at most", patterns.MostBlock(n))
	case l.Test != Amps && l.Test != Volts && l.Test != Mended && !slices.Contains(signsOf[l.Test], l.Sign):
		return fmt.Errorf("%.20q is nothing that is seen there: write %v", l.Sign, signsOf[l.Test])
	}
	return nil
}

// signsOf is what can be seen in a test; nil: a meter is read.
var signsOf = map[Test][]Sign{
	White:  along,
	Bright: along,
	Low:    along,
	Later:  along,
	Dark:   {Fine, Lit, Noise},
	Alone:  {Fine, Another, Nothing},
	Slots:  {Fine, Another, ColoursTail, Mixed, Nothing},
	Ends:   {Fine, Moved, Backward, DarkTail, DarkOne, AllDark, Colours, Noise, Dim, ColoursTail, Pictures, Lit},
	Watch:  {Fine, Noise, NoiseTail},
	Heard:  {Fine, Another},
	More:   {Fine, Another, Nothing},
}

var along = []Sign{Fine, AllDark, DarkTail, DarkHead, DarkOne, Dim, DimTail, Colours, ColoursTail, ColoursOne, Noise, NoiseTail, Pictures, Lit, Mixed}

// model is every hypothesis with its weight.
type model struct {
	*Subject
	looks  []Look
	wire   *wire // nil: the plan does not say enough
	all    []hypothesis
	log    []float64   // by hypothesis: prior and all looks
	share  []float64   // by hypothesis, a pair's shared by both; one together
	pairs  []float64   // by hypothesis: what it has in pairs
	told   [][]glimpse // by look and hypothesis; nil: nothing was seen
	of     []Look      // what told was worked out for
	meter  []float64   // by hypothesis: of all readings
	begin  []float64   // by hypothesis: before any look, see start
	total  float64     // of all priors
	dists  map[drawn][]float64
	latest struct { // of dists
		of   drawn
		dist []float64
	}
	usual map[seen]float64 // how likely a sign is before any look
	lit   map[block]*underBlock

	near [reaches]bool // whether a cause with each reach would touch another string

	slotGroup, slotPlace []int
	groupCause           []*cause
	groupFeed            []int
}

// hypothesis is one cause at one place of one size.
type hypothesis struct {
	cause *cause
	place int     // as of the cause's kind; 0: none
	feed  int     // from 1; 0: none
	size  float64 // ohms, share or factor
	minus bool    // in the return
	prior float64
	elec  *electric // nil: as planned
	slot  int       // of its cause, feed and place
	step  int       // to the hypothesis with the next size of it; 0: none
	index int       // among all

	bright, faint, low Sign // what the volts leave of the light, by level
	good, faintGood    int  // and the last good pixel then
	harmless           bool
}

// group is the hypotheses that are one thing to put right.
type group struct {
	cause *cause
	feed  int
	share float64
	index int
}

func (m *model) groups() []group {
	all := make([]group, len(m.groupCause))
	for g := range all {
		all[g] = group{cause: m.groupCause[g], feed: m.groupFeed[g], index: g}
	}
	for i := range m.all {
		all[m.slotGroup[m.all[i].slot]].share += m.share[i]
	}
	slices.SortStableFunc(all, func(a, b group) int { return cmp.Compare(b.share, a.share) })
	return all
}

// named is the groups with all that they have, by themselves and in pairs.
func (m *model) named() []group {
	all := m.groups()
	half := make([]float64, len(all))
	for i := range m.all {
		half[m.slotGroup[m.all[i].slot]] += m.pairs[i] / 2
	}
	for i := range all {
		all[i].share = min(1, all[i].share+half[all[i].index])
	}
	slices.SortStableFunc(all, func(a, b group) int { return cmp.Compare(b.share, a.share) })
	return all
}

func (m *model) verdict() Verdict {
	var v Verdict
	groups := m.named()
	v.Next = m.next()
	v.Sure = groups[0].share >= sure && groups[0].cause.Kind != Unknown
	v.Quiet = groups[0].cause.Kind == Well
	v.Well = groups[0].cause.Kind == Well && v.Next == nil && m.sound() >= well
	for _, g := range groups {
		if g.cause.Kind == Well && !v.Well && g.share < sure || g.share < shown && len(v.Causes) >= 3 {
			continue
		}
		v.Causes = append(v.Causes, m.cause(g))
	}
	v.Work = m.work(groups, v.Causes)
	return v
}

// work orders causes by their share over what they take to put right.
func (m *model) work(groups []group, causes []Cause) []int {
	worth := make([]float64, len(causes))
	var order []int
	for i, c := range causes {
		if c.Kind == Well || c.Kind == Unknown {
			continue
		}
		order = append(order, i)
		for _, g := range groups {
			if g.cause.Kind == c.Kind && g.feed == c.Feed {
				worth[i] = (g.share + 0.02/float64(i+1)) / g.cause.minutes()
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(worth[b], worth[a]) })
	return order
}

// likeliest is the likeliest hypothesis of a group.
func (m *model) likeliest(group int) *hypothesis {
	top := -1
	for i := range m.all {
		if m.slotGroup[m.all[i].slot] == group && (top < 0 || m.share[i] > m.share[top]) {
			top = i
		}
	}
	return &m.all[top]
}
