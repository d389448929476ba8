// Package budget is what a plan implies: current, fuses and supplies, voltage
// along each string, time on the data line, load on the network. It refuses to
// know about light and sockets: it takes a plan and, where patterns matter, the
// duty of each string, and gives numbers that can each be traced to the plan or to
// a named source.
//
// What the plan does not say and no table knows is absent (a zero, left out of
// JSON), never guessed.
package budget

import (
	"math"

	"yardproof/config"
)

// Budget is everything computed for one plan.
type Budget struct {
	Strings     []String     // index as in the plan
	Feeders     []Feeder     // index as in the plan
	Supplies    []Supply     // index as in the plan
	Controllers []Controller // index as in the plan
	Enclosures  []Enclosure  // index as in the plan
	Ports       []Port       // in the order in which the plan first names them
	Network     Network
	Chips       []ChipUse // that the plan names, as the table has them
	Returns     []Return  // that are too thin while another is open
	Problems    []config.Problem
	Notes       []Note // what is not known, and so not judged

	// The level within the fuses of everything lit at once. A string's own holds
	// for it alone, or with every string at that same level; strings that each
	// stand at their own may be too much for what they share.
	WithinFusesPercent float64
	WithinFusesBy      string

	plan   *config.Plan
	groups []*groupCap
	of     []place // by string

	inside map[*config.Enclosure]float64 // degrees Celsius

	refused bool // too big: nothing is worked out

	// Indices in the plan.
	feeder     map[*config.Feeder]int
	supply     map[*config.Supply]int
	controller map[*config.Controller]int
}

// Note says what could not be judged for want of a figure.
type Note struct {
	Where config.Place `json:"where"`
	What  string       `json:"what"`
}

// String is one string's figures at full white. Amperes are those that fuses and
// supplies must bear: constant current, but a switching regulator (`load: power`)
// is counted with the rise that falling volts give it.
type String struct {
	Chip Chip `json:"-"` // the table's values with the plan's in their place

	FullWhiteAmps    float64 `json:"full_white_amps,omitempty"` // 0: not known, as everywhere below
	IdleAmps         float64 `json:"idle_amps,omitempty"`       // dark
	LowestVolts      float64 `json:"lowest_volts,omitempty"`    // with constant current, however low it falls
	LowestVoltsPixel int     `json:"lowest_volts_pixel,omitempty"`
	LowestVoltsBand  *Band   `json:"lowest_volts_band,omitempty"` // by the plan's tolerance
	Starved          bool    `json:"starved,omitempty"`           // the wire cannot bring the current: nothing would be left of the volts

	ChipAware *ChipAware `json:"chip_aware,omitempty"` // nil: the chip does the same as constant current, or its law is not known

	WorkingVolts        float64 `json:"working_volts,omitempty"`         // below it the chip's colours fade
	WorkingLevelPercent float64 `json:"working_level_percent,omitempty"` // highest level at which the lowest pixel still has WorkingVolts

	WithinFusesPercent float64    `json:"within_fuses_percent"`      // alone, or with every string of the plan at that same level
	WithinFusesBy      string     `json:"within_fuses_by,omitempty"` // what binds
	WithinFusesKnown   bool       `json:"within_fuses_known"`        // false: the careful default, WithinFusesBy says why
	WireHeatWatts      float64    `json:"wire_heat_watts,omitempty"` // in pitch, jumpers and leads, without feeders
	OneMoreFeed        *ExtraFeed `json:"one_more_feed,omitempty"`
	Feeds              []Feed     `json:"feeds"`
	DataMS             float64    `json:"data_ms,omitempty"` // of this string alone on its line

	solved bool // its currents are known feed by feed
	blind  bool // something in its group draws an unknown current
}

// ChipAware is what a string does at full white when each pixel draws by its law.
type ChipAware struct {
	Amps             float64 `json:"full_white_amps,omitempty"`
	LowestVolts      float64 `json:"lowest_volts,omitempty"`
	LowestVoltsPixel int     `json:"lowest_volts_pixel,omitempty"`
	FirstFadedPixel  int     `json:"first_faded_pixel,omitempty"` // first below WorkingVolts; 0: none
	Collapse         bool    `json:"collapse,omitempty"`          // switching regulators cannot get their power: there is no steady state
	CollapsePercent  float64 `json:"collapse_percent,omitempty"`  // level up to which there is one
}

// ExtraFeed is where one more feed would help most, for a string that loses over a
// tenth of its volts or falls below WorkingVolts.
type ExtraFeed struct {
	At          int     `json:"at"`           // lit pixel
	LowestVolts float64 `json:"lowest_volts"` // with that feed, its lead without length: a real lead gives less
}

// Feed is one feed's figures at full white.
type Feed struct {
	At                 string  `json:"at"`
	Supply             string  `json:"supply,omitempty"`
	From               string  `json:"from,omitempty"` // feeder
	FullWhiteAmps      float64 `json:"full_white_amps,omitempty"`
	IdleAmps           float64 `json:"idle_amps,omitempty"`
	FuseAmps           float64 `json:"fuse_amps,omitempty"`
	FuseLoadPercent    float64 `json:"fuse_load_percent,omitempty"` // of its continuous share
	WithinFusesPercent float64 `json:"within_fuses_percent"`
	Lost               *Lost   `json:"if_lost,omitempty"`

	known bool // the amperes are
}

// Lost is what happens at full white when one feed is gone.
type Lost struct {
	Dark             bool     `json:"dark,omitempty"`         // no feed is left on a piece of the string
	LowestVolts      float64  `json:"lowest_volts,omitempty"` // of the pixels that still have a feed
	LowestVoltsPixel int      `json:"lowest_volts_pixel,omitempty"`
	Fails            []string `json:"fails,omitempty"` // what then fails

	fuses  int // how many then have too much
	solved bool
}

// Feeder is a shared wire's figures at full white of every string.
type Feeder struct {
	Name               string  `json:"name"`
	Supply             string  `json:"supply,omitempty"`
	FullWhiteAmps      float64 `json:"full_white_amps,omitempty"`
	FuseAmps           float64 `json:"fuse_amps,omitempty"`
	FuseLoadPercent    float64 `json:"fuse_load_percent,omitempty"` // of its continuous share
	Volts              float64 `json:"volts,omitempty"`             // at the far end
	HeatWatts          float64 `json:"heat_watts,omitempty"`
	WithinFusesPercent float64 `json:"within_fuses_percent"`

	Lost *LostFeeder `json:"if_lost,omitempty"` // nil: not known
}

// Supply is a supply's load at full white of every string.
type Supply struct {
	Name          string  `json:"name"`
	FullWhiteAmps float64 `json:"full_white_amps,omitempty"`
	LimitAmps     float64 `json:"limit_amps,omitempty"`   // its continuous share
	LoadPercent   float64 `json:"load_percent,omitempty"` // of LimitAmps
	Unknown       bool    `json:"unknown,omitempty"`      // some string's amperes are not known, and not counted
}

// Controller is the load on a controller's power input at full white of every
// string: the feeds at `start` that come over no feeder, since a port's cable
// carries data and power; other feeds pass it by (common practice, no source).
type Controller struct {
	Name          string  `json:"name"`
	FullWhiteAmps float64 `json:"full_white_amps,omitempty"`
	LimitAmps     float64 `json:"limit_amps,omitempty"`
	LoadPercent   float64 `json:"load_percent,omitempty"`
}

// place is where a string sits among the groups.
type place struct{ group, ladder int }

// New computes the budget. It never fails: what cannot be computed is absent,
// and what is wrong is a problem with its place. Problems that the plan's own
// check reports are not repeated.
func New(p *config.Plan) *Budget {
	b := &Budget{plan: p}
	b.Strings = make([]String, len(p.Strings))
	b.of = make([]place, len(p.Strings))
	table := chipTable()
	b.Chips = uses(p, table)
	known := make([]bool, len(p.Strings))
	lit := 0
	for i, s := range p.Strings {
		known[i] = b.nameplate(i, s, table)
		if lit += LinePixels(s); lit > config.MaxPixels {
			at := "pixels"
			if s.Copies > 1 {
				at = "copies"
			}
			judge{b, p}.add(config.Error, s.At(at), "correct pixels, null_pixels and copies, or split the plan",
				"string %s brings the pixels on all data lines over %d, too many to work out", s.Name, config.MaxPixels)
			b.refused = true
			return b
		}
	}
	b.enclosures()
	b.solveAll()
	b.ports()
	b.network()
	b.totals()
	b.levels()
	b.tidy()
	b.judge(known)
	return b
}

// tidy rounds what is shown to a millionth: what lies beyond is the solver's
// rounding, not the plan's.
func (b *Budget) tidy() {
	tidy(&b.WithinFusesPercent)
	for i := range b.Strings {
		s := &b.Strings[i]
		if s.LowestVolts < 0 {
			s.LowestVolts, s.Starved = 0, true
		}
		tidy(&s.FullWhiteAmps, &s.IdleAmps, &s.LowestVolts, &s.WorkingLevelPercent, &s.WithinFusesPercent, &s.WireHeatWatts)
		if x := s.LowestVoltsBand; x != nil {
			x.Least, x.Most = max(x.Least, 0), max(x.Most, 0)
			tidy(&x.Least, &x.Most)
		}
		if a := s.ChipAware; a != nil {
			tidy(&a.Amps, &a.LowestVolts, &a.CollapsePercent)
		}
		if x := s.OneMoreFeed; x != nil {
			tidy(&x.LowestVolts)
		}
		for j := range s.Feeds {
			f := &s.Feeds[j]
			tidy(&f.FullWhiteAmps, &f.IdleAmps, &f.FuseLoadPercent, &f.WithinFusesPercent)
			if f.Lost != nil {
				f.Lost.LowestVolts = max(f.Lost.LowestVolts, 0)
				tidy(&f.Lost.LowestVolts)
			}
		}
	}
	for i := range b.Feeders {
		f := &b.Feeders[i]
		tidy(&f.FullWhiteAmps, &f.FuseLoadPercent, &f.Volts, &f.HeatWatts, &f.WithinFusesPercent)
	}
	for i := range b.Supplies {
		s := &b.Supplies[i]
		tidy(&s.FullWhiteAmps, &s.LimitAmps, &s.LoadPercent)
	}
	for i := range b.Controllers {
		c := &b.Controllers[i]
		tidy(&c.FullWhiteAmps, &c.LoadPercent)
	}
}

func tidy(figures ...*float64) {
	for _, f := range figures {
		*f = math.Round(*f*1e6) / 1e6
	}
}

// nameplate fills in what needs no solving, and reports whether the chip's name
// is in the table.
func (b *Budget) nameplate(i int, s *config.String, table map[string]Chip) bool {
	chip, known := merge(table, s)
	r := &b.Strings[i]
	r.Chip = chip
	pixels := float64(s.Pixels * max(s.Copies, 1))
	if chip.AmpsPerPixel > 0 {
		nulls := float64(s.NullPixels) * chip.IdleAmpsPerPixel
		r.FullWhiteAmps = pixels*chip.AmpsPerPixel + nulls
		r.IdleAmps = pixels*chip.idle() + nulls
	}
	r.WorkingVolts = chip.fade(s).LowestVolts
	if t, ok := chip.frameTime(LinePixels(s)); ok && chip.HasReset {
		r.DataMS = float64(t+chip.Reset) / 1e6
	}
	r.Feeds = make([]Feed, len(s.Feeds))
	for j, f := range s.Feeds {
		e := &r.Feeds[j]
		e.At, e.FuseAmps = f.At, f.FuseAmps
		if supply := f.Supply; supply != nil {
			e.Supply = supply.Name
		}
		if f.Feeder != nil {
			e.From = f.Feeder.Name
		}
	}
	return known
}

// idle is what a dark pixel draws, never more than a lit one.
func (c Chip) idle() float64 { return min(c.IdleAmpsPerPixel, c.AmpsPerPixel) }

// totals adds up supplies and controllers.
func (b *Budget) totals() {
	p := b.plan
	b.supply = make(map[*config.Supply]int, len(p.Supplies))
	b.Supplies = make([]Supply, len(p.Supplies))
	for i, s := range p.Supplies {
		e := &b.Supplies[i]
		b.supply[s] = i
		e.Name = s.Name
		e.LimitAmps = b.SupplyForLong(s)
	}
	b.controller = make(map[*config.Controller]int, len(p.Controllers))
	b.Controllers = make([]Controller, len(p.Controllers))
	for i, c := range p.Controllers {
		b.controller[c] = i
		b.Controllers[i] = Controller{Name: c.Name, LimitAmps: c.MaxAmps}
	}
	for i, s := range p.Strings {
		for j, f := range s.Feeds {
			feed := &b.Strings[i].Feeds[j]
			if k, ok := b.supply[f.Supply]; ok {
				e := &b.Supplies[k]
				e.FullWhiteAmps += feed.FullWhiteAmps
				e.Unknown = e.Unknown || !feed.known
			}
			if k, ok := b.controller[s.Controller]; ok && throughController(f) {
				b.Controllers[k].FullWhiteAmps += feed.FullWhiteAmps
			}
		}
	}
	for i := range b.Supplies {
		if e := &b.Supplies[i]; e.LimitAmps > 0 {
			e.LoadPercent = 100 * e.FullWhiteAmps / e.LimitAmps
		}
	}
	for i := range b.Controllers {
		if e := &b.Controllers[i]; e.LimitAmps > 0 {
			e.LoadPercent = 100 * e.FullWhiteAmps / e.LimitAmps
		}
	}
}

// throughController reports whether a feed comes out of the controller's port.
func throughController(f *config.Feed) bool { return f.At == "start" && f.Feeder == nil }
