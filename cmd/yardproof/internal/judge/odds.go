package judge

import (
	"math/rand/v2"
	"slices"

	"yardproof/cmd/yardproof/internal/diagnose/belief"
	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/patterns"
)

// mostLooks is after how many looks somebody has had enough.
const mostLooks = 30

// Odds is somebody who does whatever look is asked for next, until none is.
func Odds(p *Person) Advice { return p.follow(p.subject(), nil) }

func (p *Person) subject() *belief.Subject {
	return &belief.Subject{
		Plan: p.c.Plan, Budget: p.c.Budget, String: p.string(),
		Lit:  light.Lit{Pattern: patterns.FullWhite, Level: p.Level()},
		Volt: config.Meter{Share: 0.005, Fixed: 0.03}, // as assumed of a voltmeter
	}
}

// before is how many causes were put right in a yard with a history.
const before = 6

// Remembered is Odds in a yard whose record has causes that were put right before: of any
// kind, or half of them of those that are planted, as where one weakness repeats.
func Remembered(repeats bool) Adviser {
	return func(p *Person) Advice {
		s := p.subject()
		s.Known = map[belief.Kind]int{}
		r := rand.New(rand.NewPCG(p.c.Seed, 78))
		kinds := yard.Kinds()
		for i := range before {
			k := kinds[r.IntN(len(kinds))].Kind
			if n := len(p.c.Faults); repeats && i%2 == 0 && n > 0 {
				k = p.c.Faults[i/2%n].Kind
			}
			for cause, stands := range means {
				if slices.Contains(stands, k) {
					s.Known[cause]++
				}
			}
		}
		return p.follow(s, nil)
	}
}

// follow does the looks that are asked for, beyond those that were done.
func (p *Person) follow(s *belief.Subject, looks []belief.Look) Advice {
	for enough := len(looks) + mostLooks; ; {
		v, err := s.Weigh(looks)
		if err != nil {
			panic(err) // a look that somebody cannot have had
		}
		if v.Next == nil || len(looks) == enough {
			a := advice(v)
			a.Again = func(done Guess) Advice { return p.follow(s, append(looks, done.mended(v))) }
			return a
		}
		looks = append(looks, p.look(*v.Next))
		p.done = looks
	}
}

// mended is a guess that was put right, as a look.
func (g Guess) mended(v belief.Verdict) belief.Look {
	for _, c := range v.Causes {
		if c.Kind != belief.Unknown && slices.Equal(means[c.Kind], g.Kinds) && c.Place == g.Place && c.Feed == g.Feed {
			return belief.Look{Test: belief.Mended, Cause: c.Kind, Pixel: c.Place, Feed: max(0, c.Feed-1)}
		}
	}
	panic("a guess that was not told")
}

func advice(v belief.Verdict) Advice {
	a := Advice{Well: v.Well, Work: v.Work}
	for _, c := range v.Causes {
		a.Guesses = append(a.Guesses, Guess{Kinds: means[c.Kind], Place: c.Place, Feed: c.Feed})
	}
	return a
}

// means is the kinds of planted faults that a cause stands for: those that are mended
// at one place by one piece of work.
var means = map[belief.Kind][]yard.Kind{
	belief.DeadPixel:  {yard.DeadPixel},
	belief.DeadColour: {yard.DeadColour},
	belief.BrokenData: {yard.BrokenData, yard.DeadChip},
	belief.BrokenWire: {yard.BrokenPositive, yard.BrokenReturn},
	belief.Joint:      {yard.JointPositive, yard.JointReturn},
	belief.LeadJoint:  {yard.JointLead},
	belief.OpenFeed:   {yard.FuseBlown, yard.FeedOff},
	belief.LowSupply:  {yard.SupplySag},
	belief.SupplyOff:  {yard.SupplyOff},
	belief.HotSupply:  {yard.HotSupply},
	belief.ThinWire:   {yard.ThinWire},
	belief.WetJoint:   {yard.WetJoint},
	belief.Order:      {yard.WrongOrder},
	belief.Count:      {yard.WrongCount},
	belief.Start:      {yard.WrongStart},
	belief.Nulls:      {yard.WrongNulls},
	belief.Direction:  {yard.Reversed},
	belief.Swapped:    {yard.SwappedPorts, yard.SwappedUniverses},
	belief.Packing:    {yard.WrongPack},
	belief.Delivery:   {yard.WrongDelivery},
	belief.Second:     {yard.SecondSource},
	belief.Frozen:     {yard.Frozen},
	belief.OwnTest:    {yard.OwnTest},
	belief.ChipType:   {yard.WrongChip},
	belief.Channels:   {yard.FourForThree},
	belief.DataLead:   {yard.LongDataLead},
	belief.Bond:       {yard.NoReturnBond},
	belief.Multicast:  {yard.SwitchStops},
}

// look does a look, and says what was seen or read.
func (p *Person) look(l belief.Look) belief.Look {
	n := p.c.String
	switch l.Test {
	case belief.White:
		l = told(l, p.White()[n])
		l.Others = p.others(p.White(), l)
	case belief.Later:
		l = told(l, p.Later()[n])
		l.Others = p.others(p.Later(), l)
	case belief.Bright:
		l = told(l, p.Bright())
	case belief.Low:
		l = told(l, p.Low())
	case belief.Dark:
		l = told(l, p.Dark())
	case belief.Alone:
		switch lit := p.Alone(); {
		case len(lit) == 0:
			l.Sign = belief.Nothing
		case len(lit) == 1 && lit[0] == n:
			l.Sign = belief.Fine
		default:
			l.Sign = belief.Another
		}
	case belief.Slots:
		l = p.slots(l)
	case belief.Ends:
		switch s := p.Ends(); {
		case s.Backward:
			l.Sign = belief.Backward
		case (s.Where == Spread || s.Where == Head) && s.State != Flicker && s.State != Dim:
			l.Sign = belief.Moved
		default:
			l = told(l, s)
			switch l.Sign {
			case belief.DimTail:
				l.Sign = belief.Dim
			case belief.NoiseTail:
				l.Sign = belief.Noise
			case belief.ColoursOne, belief.DarkHead, belief.Mixed:
				l.Sign = belief.Moved
			}
		}
	case belief.Watch:
		switch good := p.Watch(); {
		case good == p.string().Pixels:
			l.Sign = belief.Fine
		case good == 0:
			l.Sign = belief.Noise
		default:
			l.Sign, l.Pixel = belief.NoiseTail, good
		}
	case belief.Heard:
		l.Sign = belief.Fine
		if p.Heard() {
			l.Sign = belief.Another
		}
	case belief.More:
		switch bright, low := p.Bright(), p.Low(); {
		case bright.Often == 0 && low.Often == 0:
			l.Sign = belief.Nothing
		case bright.Often > 4*low.Often:
			l.Sign = belief.Another
		default:
			l.Sign = belief.Fine
		}
	case belief.Amps:
		dark, white := p.AmpsOf(l.Feed, l.Return, l.First, l.Last)
		l.Value, l.Dark = white, &dark
	case belief.Volts:
		l.Value = p.VoltsUnder(l.Pixel, l.First, l.Last)
	}
	return l
}

// told puts what an eye says into the words of a look.
func told(l belief.Look, s Sight) belief.Look {
	l.Pixel = s.Good
	switch s.Where {
	case Fine:
		l.Sign, l.Pixel = belief.Fine, 0
		return l
	case Tail, Spread:
		l.Sign = map[State]belief.Sign{Dark: belief.DarkTail, Dim: belief.DimTail, Colours: belief.ColoursTail, Missing: belief.ColoursTail, Flicker: belief.NoiseTail}[s.State]
	case Head:
		l.Sign = map[State]belief.Sign{Dark: belief.DarkHead}[s.State]
	case One:
		l.Sign = map[State]belief.Sign{Dark: belief.DarkOne, Dim: belief.ColoursOne, Colours: belief.ColoursOne, Missing: belief.ColoursOne}[s.State]
	}
	if l.Sign == "" {
		l.Sign = map[State]belief.Sign{Dark: belief.AllDark, Dim: belief.Dim, Colours: belief.Colours, Missing: belief.Colours, Flicker: belief.Noise}[s.State]
	}
	switch {
	case s.State == Extra:
		l.Sign = belief.Lit
	case s.Mixed:
		l.Sign = belief.Mixed
	case s.State == Flicker && s.Frame && s.Where == All:
		l.Sign = belief.Pictures
	}
	if l.Test == belief.Dark && l.Sign != belief.Lit {
		l.Sign = belief.Noise
	}
	return l
}

// steady reports whether it is a picture as sent, or a part of it.
func steady(s Sight) bool { return s.State == Dark || s.State == Dim }

// others is what the other strings did: as this one, or not.
func (p *Person) others(all []Sight, l belief.Look) (others []belief.Other) {
	mine := all[p.c.String]
	for n, s := range all {
		if n != p.c.String {
			alike := s.State == mine.State || mine.Where == Fine || !steady(s) && !steady(mine)
			others = append(others, belief.Other{Index: n, Wrong: s.Where != Fine && alike})
		}
	}
	return others
}

// slots compares the colours of the slots with the plan's.
func (p *Person) slots(l belief.Look) belief.Look {
	s := p.string()
	lit, wrong, mixed, tail := 0, false, false, 0
	for i := range s.ChannelsPerPixel() {
		got := p.Slot(i + 1)
		if got.Shown != "" {
			lit++
		}
		wrong = wrong || got.Shown != "" && got.Shown != string(s.Order[i])
		if got.Where == Tail && got.State == Colours && got.Good > 0 {
			tail = got.Good
		} else if got.Shown == "?" || got.Mixed {
			mixed = true
		}
	}
	switch {
	case lit == 0:
		l.Sign = belief.Nothing
	case tail > 0:
		l.Sign, l.Pixel = belief.ColoursTail, tail
	case mixed:
		l.Sign = belief.Mixed
	case wrong:
		l.Sign = belief.Another
	default:
		l.Sign = belief.Fine
	}
	return l
}
