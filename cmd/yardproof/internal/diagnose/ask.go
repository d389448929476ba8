package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/diagnose/scan"
	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Yard is what questions are asked against. Each part may be missing; a question
// that needs it says so.
type Yard struct {
	Plan   *config.Plan
	Budget *budget.Budget // nil also for a plan with errors
	Lines  []record.Line
	Mends  map[string]int // how often each cause was put right here, see [record.Index.Mends]
}

// Remember reads what the record in a state directory says of the yard.
func (y *Yard) Remember(dir string) error {
	index, err := record.ReadIndex(dir)
	if err != nil {
		return err
	}
	y.Lines, y.Mends = index.Whites(), index.Mends()
	return nil
}

// Question is what was seen or read, as the page and the command line ask it: one
// field of the first group, and what is known about it from the second. A question
// that asks nothing asks for the table of symptoms.
type Question struct {
	Seen     string            `json:"seen,omitempty"`     // colours of the slots, see parseSeen
	Runs     string            `json:"runs,omitempty"`     // colour-order pixel by pixel, see parseRuns
	LastLit  *int              `json:"last_lit,omitempty"` // the last good pixel, from 1; 0: none
	Half     *Search           `json:"half,omitempty"`
	Amps     *float64          `json:"amps,omitempty"`     // read on one feed
	Volts    []budget.Point    `json:"volts,omitempty"`    // read along the string; pixel 0 is the supply
	Dark     []string          `json:"dark,omitempty"`     // strings: what do they share?
	Answered map[string]string `json:"answered,omitempty"` // for each string asked to light, the one that was seen
	Batch    bool              `json:"batch,omitempty"`    // what the record's currents say
	Symptom  string            `json:"symptom,omitempty"`  // words, or a row's number
	Scan     []scan.Reading    `json:"scan,omitempty"`     // of blocks so far, for a bad joint; empty begins
	Looks    []string          `json:"looks,omitempty"`    // all of one string so far, as weigh has them; empty begins

	String       string     `json:"string,omitempty"`
	PortSet      string     `json:"port_set,omitempty"` // default: the plan's port_order
	WhiteDerived bool       `json:"white_derived,omitempty"`
	Tail         Tail       `json:"tail,omitempty"`
	Pixels       int        `json:"pixels,omitempty"`         // of the string, without a plan
	Feed         string     `json:"feed,omitempty"`           // default: the first
	DarkAmps     *float64   `json:"dark_amps,omitempty"`      // read before, the clamp unmoved
	LevelPercent float64    `json:"level_percent,omitempty"`  // of full-white while it was read; 0: 100
	Count        int        `json:"count,omitempty"`          // pixels lit by full-white by count; 0: all
	Expected     float64    `json:"expected,omitempty"`       // amperes, without a plan
	AmpsPerPixel float64    `json:"amps_per_pixel,omitempty"` // without a plan
	Meter        string     `json:"meter,omitempty"`          // its error, see config.ParseMeter; default: the plan's for amps
	Lit          *light.Lit `json:"-"`                        // what was shown, for who knows better than the level and count above
}

// Outcome is the answer, with what it rests on.
type Outcome struct {
	Answer   *Answer   `json:"answer,omitempty"`
	Search   *Search   `json:"search,omitempty"`
	Next     int       `json:"next_pixel,omitempty"` // half: the pixel to light white
	Shared   []Common  `json:"shared,omitempty"`
	Batches  []Batch   `json:"batches,omitempty"`
	Symptoms []Symptom `json:"symptoms,omitempty"`
	Scan     *Scan     `json:"scan,omitempty"`
	Weighed  *Weighed  `json:"weighed,omitempty"`
}

// Ask answers a question. An [InputError] means that it cannot be answered as it
// was asked, and says why.
func (y Yard) Ask(q Question) (out Outcome, err error) {
	asked := 0
	for _, one := range []bool{q.Seen != "", q.Runs != "", q.LastLit != nil, q.Half != nil, q.Amps != nil, len(q.Volts) > 0, len(q.Dark) > 0, len(q.Answered) > 0, q.Batch, q.Symptom != "", q.Scan != nil, q.Looks != nil} {
		if one {
			asked++
		}
	}
	if asked > 1 {
		return out, inputf("these are %d questions: ask one at a time", asked)
	}
	for _, read := range []*float64{q.Amps, q.DarkAmps, &q.Expected, &q.AmpsPerPixel} {
		if read == nil {
			continue
		}
		if err := possible(*read); err != nil {
			return out, err
		}
	}
	if q.Expected < 0 || q.AmpsPerPixel < 0 {
		return out, inputf("an expected current of %g A cannot be: give more than 0", min(q.Expected, q.AmpsPerPixel))
	}
	s, err := y.find(q.String)
	if err != nil {
		return out, err
	}
	detail := q.PortSet != "" || q.WhiteDerived || q.Tail != TailUnknown || q.Pixels != 0 || q.Feed != "" || q.DarkAmps != nil ||
		q.Count != 0 || q.Expected != 0 || q.AmpsPerPixel != 0 || q.Meter != ""
	if asked == 0 && (detail || q.String != "") {
		return out, inputf("nothing is asked: say what was seen or read too (seen, runs, last-lit, half, amps, volts, dark, answered, batch, scan, look or symptom)")
	}
	var a Answer
	switch {
	case asked == 0 || q.Symptom != "":
		out.Symptoms, err = symptomRows(q.Symptom)
		return out, err
	case q.Seen != "":
		look := q.look(s)
		if look.Seen, err = parseSeen(q.Seen); err == nil {
			a, err = orderAnswer(look)
		}
	case q.Runs != "":
		a, err = runsAnswer(q.Runs, q.look(s))
	case q.LastLit != nil:
		pixels := q.Pixels
		if pixels == 0 {
			pixels = min(max(*q.LastLit, 0), mostPixels) + 1 // not known: it is not the last
		}
		a, err = lastLitAnswer(y.Plan, s, *q.LastLit, pixels, q.Tail)
	case q.Half != nil:
		pixels := q.Pixels
		if s != nil {
			pixels = s.Pixels
		}
		unknown := pixels == 0
		if unknown {
			pixels = q.Half.Dark
		}
		out.Search, out.Next = q.Half, q.Half.Next()
		a, err = q.Half.Answer(pixels)
		if unknown && err == nil && q.Half.Found() && q.Half.Good > 0 { // a search on a string of N begins with N+1 as the dark one
			a.Next = append([]string{fmt.Sprintf("If the string has only %d pixels, there is no break: count with ends.", q.Half.Good)}, a.Next...)
		}
	case q.Amps != nil:
		a, err = y.amps(q, s)
	case len(q.Volts) > 0:
		a, err = y.volts(q, s)
	case y.Plan == nil:
		return out, inputf("this question needs the plan")
	case len(q.Dark) > 0:
		out.Shared, a, err = shared(y.Plan, q.Dark)
	case len(q.Answered) > 0:
		a, err = answered(y.Plan, q.Answered)
	case q.Looks != nil:
		out.Weighed, a, err = y.weigh(q, s)
	case q.Scan != nil:
		out.Scan, a, err = y.scan(q, s)
	default:
		out.Batches, a, err = y.batches(q)
	}
	out.Answer = &a
	return out, err
}

// mostPixels is more than any data line has.
const mostPixels = config.MaxStringPixels

// find is the string in question: the named one, or the plan's only one; nil when
// none is named.
func (y Yard) find(name string) (*config.String, error) {
	switch {
	case name == "" && y.Plan != nil && len(y.Plan.Strings) == 1:
		return y.Plan.Strings[0], nil
	case name == "":
		return nil, nil
	case y.Plan == nil:
		return nil, inputf("the string %.60q needs the plan that has it", name)
	}
	if s := y.Plan.Find(name); s != nil {
		return s, nil
	}
	return nil, inputf("the plan has no string %.60q; %s", name, y.Plan.NoString(name))
}

func (q Question) look(s *config.String) orderSeen {
	l := orderSeen{PortSet: strings.ToUpper(q.PortSet), WhiteDerived: q.WhiteDerived}
	if s != nil {
		l.PlanOrder, l.NullPixels = string(s.Order), s.NullPixels
		l.WhiteDerived = l.WhiteDerived || s.WhiteDerived
		if l.PortSet == "" {
			l.PortSet = string(s.PortOrder)
		}
	}
	return l
}

// meter is the error of the meter that was read: as the question gives it, or as
// assumed.
func (q Question) meter(assumed config.Meter, unit string) (config.Meter, error) {
	if q.Meter == "" {
		return assumed, nil
	}
	m, err := config.ParseMeter(q.Meter, unit)
	if err != nil {
		err = &InputError{err.Error()}
	}
	return m, err
}

// clamp is the error of the clamp meter: the plan's, unless the question gives it.
func (y Yard) clamp(q Question) (config.Meter, error) {
	if y.Plan != nil {
		return q.meter(y.Plan.Meter, "A")
	}
	return q.meter(config.DefaultMeter, "A")
}

// lit is what was shown while it was read.
func (q Question) lit() (light.Lit, error) {
	if q.Lit != nil {
		return *q.Lit, nil
	}
	level := q.LevelPercent
	if level == 0 {
		level = 100
	}
	if !(level > 0 && level <= 100) {
		return light.Lit{}, inputf("a level of %g %% is not above 0 and up to 100", level)
	}
	return light.Lit{Pattern: patterns.FullWhite, Options: patterns.Options{Count: q.Count}, Level: level / 100}, nil
}

func (y Yard) amps(q Question, s *config.String) (Answer, error) {
	r := reading{Read: *q.Amps, Dark: q.DarkAmps, Expected: q.Expected, PerPixel: q.AmpsPerPixel, Feed: q.Feed}
	var err error
	if r.Meter, err = y.clamp(q); err != nil {
		return Answer{}, err
	}
	if s != nil {
		if err := y.expectAmps(q, s, &r); err != nil {
			return Answer{}, err
		}
	}
	if r.Expected <= 0 {
		return Answer{}, inputf("a current needs something to compare with: the plan and the string, or the current that was expected")
	}
	return r.Answer()
}

// expectAmps fills in what the plan expects of a feed.
func (y Yard) expectAmps(q Question, s *config.String, r *reading) error {
	feed := 0
	if q.Feed != "" {
		var names []string
		for _, f := range s.Feeds {
			names = append(names, f.At)
		}
		if feed = slices.Index(names, q.Feed); feed < 0 {
			return inputf("%s has no feed at %.20q; it has %s", s.Name, q.Feed, textout.And(names))
		}
	}
	lit, err := q.lit()
	if err != nil {
		return err
	}
	r.Feed = s.Feeds[feed].At + " of " + s.Name
	white, ok := light.Expected(y.Budget, s, lit, 0)
	dark, darkOK := light.Expected(y.Budget, s, light.Lit{Pattern: patterns.Dark}, 0)
	if !ok || !darkOK {
		if r.Expected > 0 {
			return nil
		}
		return inputf("the plan does not say enough about %s to expect a current: yardproof plan says what is missing", s.Name)
	}
	if r.Expected == 0 {
		r.Expected, r.ExpectedDark = white.Feeds[feed], dark.Feeds[feed]
		if white.Least != nil {
			r.tolerance = &budget.Band{Least: white.Least.Feeds[feed], Most: white.Most.Feeds[feed]}
		}
		for i, f := range s.Feeds {
			if i != feed {
				other := feedAmps{f.At, white.Feeds[i], dark.Feeds[i], math.NaN(), math.NaN()}
				openWhite, ok1 := light.ExpectedWithout(y.Budget, s, i, lit)
				openDark, ok2 := light.ExpectedWithout(y.Budget, s, i, light.Lit{Pattern: patterns.Dark})
				if ok1 && ok2 {
					other.openWhite, other.openDark = openWhite.Feeds[feed], openDark.Feeds[feed]
				}
				r.others = append(r.others, other)
			}
		}
	}
	pixels := s.Pixels
	if c := lit.Options.Count; c > 0 {
		pixels = min(c, s.Pixels)
	}
	shown, _ := patterns.Lookup(lit.Pattern)
	if r.Pixels = pixels; shown.Load {
		r.Duty = s.Brightness * math.Pow(lit.Level, s.Gamma)
	}
	if r.PerPixel == 0 {
		r.PerPixel = (white.Amps - dark.Amps) / float64(pixels)
	}
	if shown.Load && lit.Level == 1 && s.Brightness == 1 {
		r.Planned = y.Budget.Strings[s.Index].Chip.AmpsPerPixel
	}
	return nil
}

func (y Yard) volts(q Question, s *config.String) (Answer, error) {
	m, err := q.meter(assumedVolts, "V")
	if err != nil {
		return Answer{}, err
	}
	if s == nil {
		return Answer{}, inputf("volts need the plan and the string, to know what to expect")
	}
	lit, err := q.lit()
	if err != nil {
		return Answer{}, err
	}
	supply := 0.0
	for _, p := range q.Volts {
		if p.Pixel == 0 {
			supply = p.Volts
		}
	}
	e, ok := light.Expected(y.Budget, s, lit, supply)
	if !ok || e.Volts == nil {
		return Answer{}, inputf("the plan does not say enough about %s to expect volts: yardproof plan says what is missing", s.Name)
	}
	return voltsAnswer(e, q.Volts, s.Volts, m)
}

func (y Yard) batches(q Question) ([]Batch, Answer, error) {
	m, err := y.clamp(q)
	if err != nil {
		return nil, Answer{}, err
	}
	if y.Budget == nil {
		return nil, Answer{}, inputf("the plan has errors: correct it first, so that there is something to compare with")
	}
	all := batches(y.Plan, y.Budget, y.Lines, m)
	return all, batchAnswer(all), nil
}
