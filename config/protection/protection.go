package protection

import (
	"fmt"
	"math"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

// Fuses come in steps, and gauges in AWG and mm² do not meet exactly.
const stepFactor = 1.05

// Report is what was found for a plan.
type Report struct {
	Strings  []String         `json:"strings"` // those that could be worked out, in the plan's order
	Mains    []Mains          `json:"mains,omitempty"`
	Findings []Finding        `json:"findings"`             // what the plan does not bear, in its order
	Twice    []Finding        `json:"two_faults,omitempty"` // the worst of each string in two faults at once, of which no warning is made
	Problems []config.Problem `json:"-"`
	Notes    []budget.Note    `json:"-"` // what could not be judged
}

// String is one string's figures.
type String struct {
	Name  string  `json:"name"`
	Worst []Piece `json:"worst"` // the pieces of wire nearest to their limit: the pitch, each jumper and each lead, on V+ and on return, in one fault and in two at once
	Fuses []Reach `json:"fuses"`

	past  *Piece   // the piece furthest past its limit in one fault; nil: none
	mend  string   // what would bring it within
	twice *Finding // in two faults at once; nil: all is within
}

// Piece is the greatest current of a piece of wire while no fuse opens.
type Piece struct {
	Conductor string  `json:"conductor"` // V+ or return
	Place     string  `json:"place"`
	Amps      float64 `json:"amps"`
	MayAmps   float64 `json:"may_amps,omitempty"`       // the biggest fuse that the wire may have; 0: not known
	Connector float64 `json:"connector_amps,omitempty"` // what its connectors may carry; 0: not known
	Fault     int     `json:"fault_pixel,omitempty"`
	When      string  `json:"when,omitempty"` // what else is wrong; "": nothing

	spot  spot
	node  int     // where it leads, on the pitch or a jumper
	open  int     // what When says, by its number from 1
	holds float64 // [config.Protection]: what may have a fuse of some size in front of it is taken to bear what that fuse holds
}

// twice reports whether it takes two faults at once.
func (p Piece) twice() bool { return p.spot.twice }

// over is how far the piece is past what it bears; 1: just at it.
func (p Piece) over() float64 {
	wire, connector := 0.0, 0.0
	if p.MayAmps > 0 {
		wire = p.Amps / (p.MayAmps * p.holds * stepFactor)
	}
	if p.Connector > 0 { // a fuse of at most its rating, as for wire
		connector = p.Amps / (p.Connector * p.holds)
	}
	return max(wire, connector)
}

// Reach is how far from a feed its fuse still sees a short, with the others open.
type Reach struct {
	At         string  `json:"at"`
	FuseAmps   float64 `json:"fuse_amps"`
	LeastAmps  float64 `json:"least_short_amps"`      // of a bolted short anywhere on its piece
	LeastPixel int     `json:"least_short_pixel"`     // where
	Unseen     int     `json:"unseen_from,omitempty"` // pixel nearest to the feed at which a short draws too little; 0: none
	SupplyAmps float64 `json:"supply_amps,omitempty"` // what the supply gives before it folds back; 0: not known
	NeededAmps float64 `json:"needed_amps"`           // what it takes for the fuse to open soon
	LargestFit float64 `json:"largest_fuse_amps"`     // the largest fuse that would see every short

	feed int
	mend string // what would see every short; "": none was found
}

// Nearest is the piece of a conductor that is nearest to its limit, or past it, in
// one fault or in two at once.
func (s *String) Nearest(conductor string, twice bool) (Piece, bool) {
	var best Piece
	for _, p := range s.Worst {
		if p.Conductor == conductor && p.twice() == twice && (best.Place == "" || p.over() > best.over()) {
			best = p
		}
	}
	return best, best.Place != ""
}

// Assumptions says what the figures of a plan rest on.
func Assumptions(p *config.Plan) []string {
	source := "from the plan"
	if p.Protection.FuseHolds == config.DefaultProtection.FuseHolds && p.Protection.ShortFactor == config.DefaultProtection.ShortFactor {
		source = "from an excerpt of a fuse guide; set fuse_holds and short_factor"
	}
	return []string{
		fmt.Sprintf("A fuse is taken to hold %.3g %% of its rating for ever, and to open within seconds at %.3g %% (%s; its maker's curve prevails).", 100*p.Protection.FuseHolds, 100*p.Protection.ShortFactor, source),
		"A supply is taken to fold back at 110 % of its rating where hiccup_amps is not set (common practice, no source).",
		"Mains: where the plan does not say, a supply is taken to have 85 % efficiency, power factor 0.9, 60 A inrush and 3.5 mA leakage (common practice, no source). To be confirmed by an electrician.",
		"A fault joins V+ and return at any one place, with any resistance; pixels are dark or full white; one return, fuse or feeder may be open besides. Such a row takes two faults at once: the worst of each string is listed with its mend, and no warning is made of it.",
		"In a short, other strings on a feeder are dark or at full white, whichever is worse, and lead nothing back; while a return is open and nothing is short, all are at full white. Warm copper draws less in a short: set temperature. Where connector_amps is not set, a connector must bear what its wire does.",
		"With one return open, the data ground of the controller may carry that current past every fuse.",
		"These figures help a licensed person. They release nothing; local codes prevail.",
	}
}

// kind is the same for strings that differ in nothing that matters here.
func (w *wiring) kind() string {
	type plain config.Wire // all of its fields: as text it has no length
	var b strings.Builder
	s, white := w.s, w.White[len(w.White)-1]
	fmt.Fprint(&b, s.Pixels, s.NullPixels, s.Copies, s.Volts, w.Idle[1:min(2, len(w.Idle))], white, plain(s.Pitch), s.ConnectorAmps, s.CutPositiveAfter, w.hangs())
	for _, j := range s.Jumpers {
		fmt.Fprint(&b, " j", j.After, plain(j.Wire))
	}
	for i, f := range s.Feeds {
		fmt.Fprint(&b, " f", f.At, f.Address, f.FuseAmps, plain(f.Wire), f.ConnectorAmps, supplyAmps(f.Supply), w.leadCelsius(f), w.share(i))
		if f.Feeder != nil {
			fmt.Fprintf(&b, "%q", f.Feeder.Name) // one of its name and supply
		}
	}
	return b.String()
}

func nothing(*config.Feed) bool { return false }

func only(f *config.Feed) func(*config.Feed) bool {
	return func(o *config.Feed) bool { return o == f }
}

// holds lists what V+'s fuses hold: leads, then feeders.
func holds(r *rail, w *wiring) []float64 {
	factor := w.plan.Protection.FuseHolds
	amps := make([]float64, 0, len(r.leads)+len(r.feeders))
	for _, l := range r.leads {
		amps = append(amps, factor*w.s.Feeds[l.feed].FuseAmps)
	}
	for _, f := range r.feeders {
		amps = append(amps, factor*w.boxes[f.box].FuseAmps)
	}
	return amps
}

// What a supply gives before it folds back, as a share of its rating, where the plan
// does not say (common practice, no source: leaflets say 105 to 150 %).
const hiccupFactor = 1.10

func supplyAmps(s *config.Supply) float64 {
	switch {
	case s == nil || s.Volts <= 0:
		return 0
	case s.HiccupAmps > 0:
		return s.HiccupAmps
	}
	return hiccupFactor * s.Watts / s.Volts
}

// reaches finds, fuse by fuse with the others open, the shorts it does not see.
func (w *wiring) reaches() []Reach {
	var list []Reach
	for i := range w.s.Feeds {
		if r, ok := w.reach(i); ok {
			list = append(list, r)
		}
	}
	return list
}

// reach is that of a feed's fuse; false: none is known.
func (w *wiring) reach(feed int) (Reach, bool) {
	f, short := w.s.Feeds[feed], w.plan.Protection.ShortFactor
	fuse, lead := f.FuseAmps, 2*w.leadOhms(f)
	if h := f.Feeder; h != nil {
		lead += 2 * w.feederOhms(h)
		if fuse == 0 {
			fuse = h.FuseAmps
		}
	}
	if fuse == 0 {
		return Reach{}, false
	}
	at := w.Feeds[feed]
	from, to := 0, len(w.White)-1
	for _, cut := range w.Cuts {
		if cut < at {
			from = cut + 1
		} else {
			to = min(to, cut)
		}
	}
	r := Reach{feed: feed, At: f.At, FuseAmps: fuse, SupplyAmps: supplyAmps(f.Supply), LeastAmps: math.Inf(1)}
	nearest := 0
	for k := from; k <= to; k++ {
		amps := w.s.Volts / (lead + 2*math.Abs(w.Wiring.Ohms[k]-w.Wiring.Ohms[at]))
		if amps < r.LeastAmps {
			r.LeastAmps, r.LeastPixel = amps, max(w.Pixel(k), 1)
		}
		if d := max(k-at, at-k); amps < short*fuse && (r.Unseen == 0 || d < nearest) {
			r.Unseen, nearest = max(w.Pixel(k), 1), d
		}
	}
	r.NeededAmps, r.LargestFit = short*fuse, r.LeastAmps/short
	return r, true
}
