// Package opening is the sheet for opening night, go or no-go: what was proved and
// what was not, what is still at fault, who sends, and how this program lets go. It
// sends nothing and decides nothing: people say go.
package opening

import (
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/listener"
)

// Facts are what the sheet is made of.
type Facts struct {
	Plan      *config.Plan
	Budget    *budget.Budget
	Standings []record.Standing                                                   // as [record.Index.Standings] has them
	Seen      func(controller string, words ...string) (seen string, changed int) // as [record.Index.Seen]: what a cable check showed
	Burned    burnin.Progress
	Heard     *Heard // nil: nobody has listened
	Sending   []uint16
	Ended     *Ended // how this program last let go; nil: not known, or it sends
	Now       time.Time
	Zone      *time.Location
}

// Universes returns the numbers of a plan's universes, each once, ascending.
func Universes(plan *config.Plan) (all []uint16) {
	for _, u := range plan.Map().Universes {
		all = append(all, u.Number)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// Heard is what a listener heard on the plan's universes.
type Heard struct {
	Where  string // its interface
	Others []listener.CompetingSource
	Own    []uint16 // universes on which this program itself was heard
	NotOwn string   // why it could not have been heard; "": it could
}

// Ended is how this program let go, as it leaves it in its state directory.
type Ended struct {
	Time       time.Time `json:"time"`
	Universes  []uint16  `json:"universes"`
	Terminated bool      `json:"terminated"` // the packets that end the streams went out
	Says       string    `json:"says"`
}

// State is what a part of the sheet comes to.
type State string

// The states.
const (
	Go    State = "go"
	Check State = "check" // somebody must look
	NoGo  State = "no-go"
)

// Part is one matter of the sheet.
type Part struct {
	Title string
	State State
	Says  string
	Items []string
	Do    string // what to do; "": nothing
}

// Sheet is what is printed.
type Sheet struct {
	Plan    string
	Printed string
	State   State // the worst of its parts
	Says    string
	Parts   []Part
}

// New makes the sheet.
func New(f Facts) Sheet {
	s := Sheet{Plan: record.Shown(f.Plan.Name), Printed: f.Now.In(f.Zone).Format("2006-01-02 15:04 MST"), State: Go}
	f.Standings = record.InPlan(f.Standings, f.Plan.Labels())[:len(f.Plan.Strings)]
	against, open := 0, 0
	for _, part := range []Part{f.proofs(), f.faults(), f.burnIn(), f.feeds(), f.onLoss(), f.levels(), f.others(), f.handOver()} {
		for i, item := range part.Items {
			part.Items[i] = record.Shown(item)
		}
		switch part.State {
		case NoGo:
			against++
			s.State = NoGo
		case Check:
			open++
			if s.State == Go {
				s.State = Check
			}
		}
		s.Parts = append(s.Parts, part)
	}
	s.Says = verdict(against, open)
	return s
}
