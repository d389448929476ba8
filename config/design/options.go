package design

import (
	"yardproof/config"
)

// Options are what an answer has to hold for.
type Options struct {
	Level   float64  // of everything lit at once, above 0 to 1
	LoseOne bool     // also with any one feed lost
	Only    []string // strings to design anew whatever they are; nil: those with a finding
	Work    int      // the most sets of places, and their like, that are looked at for a string from one source; 0: any number

	Progress func(stage Stage, done, of int) // after each string, from one goroutine at a time; nil: nobody looks
}

// A Stage is what is done string by string.
type Stage int

// The stages of a search.
const (
	Finding    Stage = iota // of what holds, each string in its fair part of the time
	Cheapening              // what was not settled by then, in what is left of it
)

// A Proposal is what was found.
type Proposal struct {
	Plan     *config.Plan `json:"-"` // as proposed
	Level    float64      `json:"level"`
	LoseOne  bool         `json:"with_one_feed_lost"`
	Strings  []String     `json:"strings"`            // designed anew, in the plan's order
	Feeders  []Feeder     `json:"feeders,omitempty"`  // that change
	Supplies []Supply     `json:"supplies,omitempty"` // to be added
	Refused  []Refusal    `json:"not_proposed,omitempty"`
	Cost     Cost         `json:"cost"`
	Bill     *Bill        `json:"bill,omitempty"`    // what the change takes; nil: there is none
	Assumed  []string     `json:"assumed,omitempty"` // of the list of prices

	today *config.Plan
}

// Cost is in the currency of the stock's prices.
type Cost struct {
	Today    float64 `json:"today"`
	Proposed float64 `json:"proposed"`
	Least    float64 `json:"least"` // nothing that was looked at costs less; below Proposed when time ran out
}

// Gap is how far the proposal may be above the cheapest, as a share of it.
func (c Cost) Gap() float64 {
	if c.Proposed <= c.Least*(1+1e-9) {
		return 0
	}
	return (c.Proposed - c.Least) / c.Proposed
}

// String is what was found for a string.
type String struct {
	Name    string   `json:"name"`
	Because []string `json:"because"` // what is wrong today
	Feeds   []Feed   `json:"feeds"`
	Cost    Cost     `json:"cost"`
	Refused []Choice `json:"cheaper_refused"` // cheaper choices, and what each fails
	Places  int      `json:"places"`          // where a feed was tried

	index   int
	feeds   []*config.Feed
	problem *problem
}

// Feed is a feed as proposed.
type Feed struct {
	At       string  `json:"at"`
	From     string  `json:"from"` // supply or feeder
	Wire     string  `json:"wire"`
	Metres   float64 `json:"metres"`
	FuseAmps float64 `json:"fuse_amps"`
	Amps     float64 `json:"amps"`   // at the asked level
	Change   string  `json:"change"` // new, changed or as today
}

// Choice is a cheaper one that was refused.
type Choice struct {
	What string  `json:"what"`
	Cost float64 `json:"cost"`
	Why  string  `json:"why"`
}

// Feeder is a feeder that changes.
type Feeder struct {
	Name     string  `json:"name"`
	Wire     string  `json:"wire"`
	FuseAmps float64 `json:"fuse_amps"`
	Because  string  `json:"because"`
	Cost     Cost    `json:"cost"`

	was, is *config.Feeder
}

// Supply is one that is to be added.
type Supply struct {
	Name  string  `json:"name"`
	Volts float64 `json:"volts"`
	Watts float64 `json:"watts"`
	Where string  `json:"where"`
	Price float64 `json:"price"`

	supply *config.Supply
}

// Refusal is a string with a finding for which nothing was found.
type Refusal struct {
	Name string `json:"name"`
	Why  string `json:"why"`
}
