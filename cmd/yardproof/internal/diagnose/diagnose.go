// Package diagnose turns what somebody saw or read in the yard into what it
// means and what to do next. It refuses to know about sockets, clocks, files and
// light: it takes answers, readings and a plan, and gives sentences. What it knows
// of the trade is common practice without a published source unless an answer's
// basis names one.
package diagnose

import "fmt"

// Practice is the basis of an answer that rests on no published source.
const Practice = "common practice, no source"

// Caution goes with every answer that sends somebody to the wires.
const Caution = "Power off before cutting, joining or unplugging. The mains side is for a licensed person. Local codes prevail."

// Answer is what a look or a reading means and what to do next.
type Answer struct {
	Finding   string   `json:"finding"` // one sentence
	Wrong     bool     `json:"wrong"`   // there is something to put right
	Causes    []string `json:"causes"`  // most likely first
	Next      []string `json:"next"`    // in this order
	Orders    []string `json:"orders,omitempty"`
	PlanLines []string `json:"plan_lines,omitempty"` // what the plan should say
	Basis     string   `json:"basis"`
	Caution   string   `json:"caution,omitempty"`
}

// An InputError is an answer or a reading that cannot be what was seen.
type InputError struct{ Text string }

func (e *InputError) Error() string { return e.Text }

func inputf(format string, args ...any) error { return &InputError{fmt.Sprintf(format, args...)} }
