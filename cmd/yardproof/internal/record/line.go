package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// Kind is what a line is about.
type Kind string

// The kinds.
const (
	Proof      Kind = "proof"    // a verdict on a string
	Measured   Kind = "reading"  // readings without a verdict
	Note       Kind = "note"     // words
	Inspection Kind = "look"     // somebody looked at the display, as in a burn-in or a cable check
	BurnIn     Kind = "burn-in"  // what a string was served, by the server when the programme is over
	Replaced   Kind = "replaced" // another physical string hangs there now: unproved
)

// Stage is where in its life a string was proved.
type Stage string

// The stages.
const (
	Bench   Stage = "bench"
	Hung    Stage = "hung"
	Opening Stage = "opening"
)

// Stages returns them in the order of the season.
func Stages() []Stage { return []Stage{Bench, Hung, Opening} }

// Verdict is the outcome of a proof.
type Verdict string

// The verdicts.
const (
	Good  Verdict = "good"
	Fault Verdict = "fault"
)

// Line is one line of the record. Time, Plan, Label, Pattern, LevelPercent and what
// the readings were expected to be are stamped by the server.
type Line struct {
	Time         time.Time `json:"time"`
	Kind         Kind      `json:"kind"`
	Plan         string    `json:"plan,omitempty"`       // its name
	String       string    `json:"string,omitempty"`     // its name in the plan
	Label        string    `json:"label,omitempty"`      // the tag on the physical string
	Controller   string    `json:"controller,omitempty"` // of a cable check
	Stage        Stage     `json:"stage,omitempty"`
	Verdict      Verdict   `json:"verdict,omitempty"`
	Seen         string    `json:"seen,omitempty"`     // what it looked like, in the words of who looked
	LastLit      *int      `json:"last_lit,omitempty"` // the last good pixel, 0: none
	Note         string    `json:"note,omitempty"`
	Readings     []Reading `json:"readings,omitempty"`
	Pattern      string    `json:"pattern,omitempty"` // shown at that moment
	LevelPercent *float64  `json:"level_percent,omitempty"`
	Once         string    `json:"once,omitempty"` // of whoever asked: a second line that has it is this one, sent again
}

// What a string shows while a meter is read on it.
const (
	WhileDark  = "dark"
	WhileWhite = "white"
)

// Reading is a current or a voltage.
type Reading struct {
	Feed     string  `json:"feed,omitempty"` // start, end or a pixel number
	Quantity string  `json:"quantity"`       // amps or volts
	At       string  `json:"at,omitempty"`   // volts: `supply` or `pixel N`
	Value    float64 `json:"value"`
	While    string  `json:"while,omitempty"` // WhileDark or WhileWhite

	// Stamped by the server: a bare number cannot be judged later.
	Pattern      string   `json:"pattern,omitempty"`
	LevelPercent *float64 `json:"level_percent,omitempty"`
	Count        int      `json:"count,omitempty"` // pixels lit by full-white by count; 0: all
	Expected     *float64 `json:"expected,omitempty"`
	Least        *float64 `json:"least,omitempty"` // with wire, pixels and meter as far off as the plan says
	Most         *float64 `json:"most,omitempty"`
}

// Amps reports whether the reading is a current, read while the string was dark or white.
func (r Reading) Amps(while string) bool { return r.Quantity == "amps" && r.While == while }

// Off reports whether the reading is farther from what was expected than wire, pixels
// and meter explain. What cannot be judged is not off.
func (r Reading) Off() bool {
	return r.Least != nil && r.Value < *r.Least || r.Most != nil && r.Value > *r.Most
}

// Unit is the reading's unit.
func (r Reading) Unit() string {
	if r.Quantity == "volts" {
		return "V"
	}
	return "A"
}

// ErrLine means that a line cannot be recorded as it is: what the asker sent is
// wrong, and the error says what.
var ErrLine = errors.New("not recorded")

const (
	maxText     = 4000 // octets of a note
	maxName     = 200
	maxReadings = 100
	maxLine     = 1 << 20
)

// Check reports what is wrong with a line, as an error that wraps [ErrLine].
func (l *Line) Check() error {
	wrong := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrLine, fmt.Sprintf(format, args...))
	}
	for _, t := range []struct {
		what, text string
		most       int
	}{{"plan", l.Plan, maxName}, {"string", l.String, maxName}, {"label", l.Label, maxName}, {"controller", l.Controller, maxName},
		{"pattern", l.Pattern, maxName}, {"seen", l.Seen, maxText}, {"note", l.Note, maxText}} {
		if len(t.text) > t.most {
			return wrong("%s is longer than %d octets", t.what, t.most)
		}
		if !utf8.ValidString(t.text) {
			return wrong("%s is not UTF-8 text", t.what)
		}
	}
	if !checkOnce(l.Once) {
		return wrong("once is not up to %d letters, digits and hyphens", maxOnce)
	}
	switch l.Kind {
	case Proof:
		if l.String == "" && l.Stage != Bench {
			return wrong("a proof needs the string's name")
		}
		if l.String == "" && l.Label == "" { // on the bench it has no place yet
			return wrong("a proof on the bench needs the string's tag")
		}
		if l.Verdict != Good && l.Verdict != Fault {
			return wrong("verdict %.20q is not good or fault", string(l.Verdict))
		}
	case Measured:
		if len(l.Readings) == 0 {
			return wrong("a reading needs a value")
		}
	case Note, Inspection, BurnIn:
	case Replaced:
		if l.String == "" {
			return wrong("a replacement needs the string's name")
		}
	default:
		return wrong("%.20q is not a kind of line", string(l.Kind))
	}
	switch l.Stage {
	case "", Bench, Hung, Opening:
	default:
		return wrong("stage %.20q is not bench, hung or opening", string(l.Stage))
	}
	if l.LastLit != nil && *l.LastLit < 0 {
		return wrong("last_lit is a pixel from 1, or 0 for none, not %d", *l.LastLit)
	}
	if len(l.Readings) > maxReadings {
		return wrong("there are more than %d readings", maxReadings)
	}
	if l.LevelPercent != nil && !finite(*l.LevelPercent) {
		return wrong("the level is not a number")
	}
	for i, r := range l.Readings {
		switch {
		case r.Quantity != "amps" && r.Quantity != "volts":
			return wrong("reading %d: quantity %.20q is not amps or volts", i+1, r.Quantity)
		case !finite(r.Value) || math.Abs(r.Value) > 10000:
			return wrong("reading %d: %g is no %s that a meter shows here", i+1, r.Value, r.Quantity)
		case r.While != "" && r.While != WhileDark && r.While != WhileWhite:
			return wrong("reading %d: while %.20q is not dark or white", i+1, r.While)
		case r.Expected != nil && !finite(*r.Expected), r.Least != nil && !finite(*r.Least), r.Most != nil && !finite(*r.Most), r.LevelPercent != nil && !finite(*r.LevelPercent):
			return wrong("reading %d: what was expected is not a number", i+1)
		}
		for _, text := range []string{r.Feed, r.At, r.Pattern} {
			if len(text) > maxName || !utf8.ValidString(text) {
				return wrong("reading %d: its place is no short text", i+1)
			}
		}
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// encode writes the line with every character that a terminal might obey escaped,
// since people look at the file with whatever is at hand.
func (l *Line) encode() ([]byte, error) {
	text, err := json.Marshal(l)
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	for _, r := range string(text) {
		switch {
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	b.WriteByte('\n')
	return []byte(b.String()), nil
}

// Shown makes text fit for a terminal or a sheet: line breaks become blanks, other
// control and formatting characters are spelled out.
func Shown(text string) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r > '~' }) {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == '\n' || r == '\t' || r == '\r' || r == 0x2028 || r == 0x2029:
			b.WriteByte(' ')
		case unicode.IsPrint(r) || unicode.Is(unicode.Zs, r):
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, "<U+%04X>", r)
		}
	}
	return b.String()
}
