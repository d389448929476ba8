package judge

import (
	"slices"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Lists is somebody with the fixed lists: one symptom at a time, in the order of a
// proof, each list from its top; meters where nothing is seen.
func Lists(p *Person) Advice {
	l := lists{p: p, yard: diagnose.Yard{Plan: p.c.Plan, Budget: p.c.Budget}}
	l.eyes()
	if len(l.out) == 0 && !l.asked {
		l.meters()
	}
	if len(l.out) == 0 && !l.asked {
		if s := p.Later()[p.c.String]; s.Where != Fine {
			l.symptom(18, 0)
		}
	}
	return Advice{Guesses: l.out, Well: !l.asked}
}

type lists struct {
	p     *Person
	yard  diagnose.Yard
	out   []Guess
	asked bool // something was wrong
}

// ask asks, and takes the causes that are told.
func (l *lists) ask(q diagnose.Question, place, feed int) diagnose.Answer {
	if q.Dark == nil && q.Answered == nil && q.Symptom == "" {
		q.String = l.p.string().Name
	}
	out, err := l.yard.Ask(q)
	if err != nil || out.Answer == nil {
		return diagnose.Answer{}
	}
	a := *out.Answer
	if a.Wrong {
		l.asked = true
		l.add(read(a.Causes, l.p.string(), place, feed))
	}
	return a
}

func (l *lists) add(g []Guess) {
	for _, one := range g {
		if !slices.ContainsFunc(l.out, func(o Guess) bool {
			return slices.Equal(o.Kinds, one.Kinds) && o.Place == one.Place && o.Feed == one.Feed
		}) {
			l.out = append(l.out, one)
		}
	}
}

func (l *lists) symptom(row, place int) {
	l.asked = true
	l.add(read(diagnose.Symptoms()[row-1].Causes, l.p.string(), place, 0))
}

// eyes goes through what is seen.
func (l *lists) eyes() {
	p, n := l.p, l.p.c.String
	if d := p.Dark(); d.State == Extra || d.Frame {
		l.symptom(17, 0)
	}
	white := p.White()
	mine := white[n]
	if mine.State == Flicker && mine.Frame && mine.Where == All {
		l.symptom(17, 0)
	}
	if mine.Where == All && mine.State == Dark {
		var dark []string
		for i, s := range white {
			if s.Where == All && s.State == Dark {
				dark = append(dark, p.c.Plan.Strings[i].Name)
			}
		}
		if len(dark) > 1 {
			l.ask(diagnose.Question{Dark: dark}, 0, 0)
		}
		zero := 0
		l.ask(diagnose.Question{LastLit: &zero, Tail: diagnose.TailDark}, 0, 0)
		return
	}
	if lit := p.Alone(); len(lit) == 1 && lit[0] != n {
		a := l.ask(diagnose.Question{Answered: map[string]string{p.string().Name: p.c.Plan.Strings[lit[0]].Name}}, 0, 0)
		l.add(read([]string{"swapped: " + a.Finding}, p.string(), 0, 0))
	}
	l.colours()
	if e := p.Ends(); e.Where != Fine && mine.Where == Fine || e.Where == Spread { // its picture has moved
		l.symptom(15, 0)
	}
	l.along(mine)
	if b := p.Bright(); b.Where != Fine && mine.Where == Fine {
		l.bright(b)
	}
}

// colours compares the slots.
func (l *lists) colours() {
	s := l.p.string()
	seen, wrong := "", false
	for i := range s.ChannelsPerPixel() {
		got := l.p.Slot(i + 1)
		wrong = wrong || got.Shown != "" && got.Shown != string(s.Order[i])
		word := got.Shown
		switch {
		case word == "?" || got.Mixed:
			word = "two"
		case word == "":
			word = "none"
		}
		if seen != "" {
			seen += ","
		}
		seen += word
	}
	if first := l.p.Slot(1); !wrong && first.Where == Tail && first.State == Colours {
		l.ask(diagnose.Question{LastLit: &first.Good, Tail: diagnose.TailColours}, first.Good, 0)
	}
	if wrong {
		l.ask(diagnose.Question{Seen: seen}, 0, 0)
	}
}

// along asks about what is seen along a string that is white.
func (l *lists) along(s Sight) {
	good := s.Good
	tail := func(t diagnose.Tail) diagnose.Answer {
		return l.ask(diagnose.Question{LastLit: &good, Tail: t}, good, 0)
	}
	switch {
	case s.Where == Fine:
	case s.State == Flicker && (s.Where == All || good == 0):
		if l.p.Low().State == Flicker {
			l.symptom(7, 0)
		} else {
			l.symptom(8, 0)
		}
	case s.State == Flicker:
		tail(diagnose.TailSparkle)
	case s.Where == Tail && s.State == Dark && good > 0:
		from := len(l.out)
		if a := tail(diagnose.TailDark); len(a.Next) > 0 { // it asks for the volts there first
			l.power(from, l.p.Volts(good+1) < 0.5*l.p.string().Volts, good)
		}
		l.symptom(15, 0)
	case s.Where == Tail && (s.State == Colours || s.State == Missing) && good > 0:
		tail(diagnose.TailColours)
	case s.Where == One:
		l.symptom(6, good+1)
	case s.Where == Head && s.State == Dark:
		l.symptom(15, 0)
	case s.State == Dim && s.Where == Tail:
		l.symptom(10, good)
		l.symptom(9, good)
	case s.State == Dim:
		l.symptom(9, 0)
	case s.State == Extra:
		l.symptom(17, 0)
	case s.Mixed:
		l.symptom(12, 0)
	case s.State == Colours && s.Where == All:
		l.symptom(11, 0)
	default:
		l.symptom(15, good)
	}
}

// power puts first what the volts at the first dark pixel leave.
func (l *lists) power(from int, gone bool, place int) {
	kinds := []yard.Kind{yard.BrokenData, yard.DeadChip}
	if gone {
		kinds = []yard.Kind{yard.BrokenPositive, yard.BrokenReturn}
	}
	l.out = slices.Insert(l.out, from, Guess{Kinds: kinds, Place: place})
}

// bright asks about what is seen only when it is bright.
func (l *lists) bright(s Sight) {
	switch {
	case s.State == Flicker:
		l.symptom(8, s.Good)
	case s.State == Dim || s.State == Dark:
		l.symptom(9, 0)
	default:
		l.along(s)
	}
}

// meters reads amperes at every feed, then volts at the supply and both ends, and
// halves the way where that is asked.
func (l *lists) meters() {
	p, s := l.p, l.p.string()
	lit := light.Lit{Pattern: patterns.FullWhite, Level: p.Level()}
	for i, f := range s.Feeds {
		dark, white := p.Amps(i)
		l.ask(diagnose.Question{Amps: &white, DarkAmps: &dark, Feed: f.At, Lit: &lit}, 0, i+1)
	}
	if l.asked {
		return
	}
	points := []budget.Point{{Pixel: 0, Volts: p.Volts(0)}, {Pixel: 1, Volts: p.Volts(1)}, {Pixel: s.Pixels, Volts: p.Volts(s.Pixels)}}
	for range 10 {
		l.out = nil
		place := 0
		q := diagnose.Question{Volts: points, Lit: &lit}
		a := l.ask(q, 0, 1)
		next := halfway(a.Next)
		if next == 0 {
			place = between(a.Finding)
			l.out = read(a.Causes, s, place, 1)
			return
		}
		points = append(points, budget.Point{Pixel: next, Volts: p.Volts(next)})
	}
}
