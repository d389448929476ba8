// Package budget is what a plan implies: current, fuses and supplies, voltage
// along each string, time on the data line, load on the network. It refuses to
// know about light and sockets: it takes a plan and, where patterns matter, the
// duty of each slot, and gives numbers that can each be traced to the plan or to
// a named source.
package budget

import "yardproof/config"

// Budget is everything computed for one plan (to be filled).
type Budget struct{ Problems []config.Problem }

// New computes the budget. It never fails: what cannot be computed is absent,
// and what is wrong is a problem with its place.
func New(p *config.Plan) *Budget { return &Budget{} }

// Cap is a limit on the level of what is lit.
type Cap struct {
	Level float64 // 0-1
	By    string  // what binds: `fuse of gable-left at start, 5 A at 75 %`; "": nothing does
	Known bool    // false: a fuse or supply is unknown and Level is the careful default
}

// Cap returns the highest level at which the strings, each lit with a duty from
// 0 to 1 of its full white (index as in the plan), load no fuse, wire, supply or
// controller input past its continuous share.
func (b *Budget) Cap(duty []float64) Cap { return Cap{Level: 0.3} }

// SupplyAmps returns the current predicted for each supply, by its name, when
// each string is lit with its duty at a level from 0 to 1.
func (b *Budget) SupplyAmps(duty []float64, level float64) map[string]float64 { return nil }
