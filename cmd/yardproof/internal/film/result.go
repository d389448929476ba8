package film

import "image"

// Result is what films of a yard show of its plan. Its JSON form is also that of a
// layout: see [Layout].
type Result struct {
	Plan    string   `json:"plan"`
	Films   []Film   `json:"films"`
	Strings []String `json:"strings"` // those of the plan, in its order
	Pixels  []Pixel  `json:"pixels"`  // of all strings, in order

	stills []still // of each film
}

// Film is one film that was read.
type Film struct {
	Seconds float64 `json:"seconds"`
	Frames  int     `json:"frames"` // that were read
	Width   int     `json:"width"`
	Height  int     `json:"height"`
	Read    int     `json:"read"` // lights that answered an address

	Called  string `json:"called,omitempty"`  // by whoever put it on record
	Picture string `json:"picture,omitempty"` // the file beside, if the picture is kept
}

func (f Film) size() image.Point { return image.Pt(f.Width, f.Height) }

// still is the picture in which places are.
type still struct {
	jpeg []byte
	size image.Point
}

// String is what was seen of one string.
type String struct {
	Name     string    `json:"name"`
	Findings []Finding `json:"findings"` // none: nothing is wrong with what was seen
	Seen     int       `json:"seen"`     // pixels that were read
	Pixels   int       `json:"pixels"`   // that the plan has
}

// Finding is one thing to look at or to mend on a string.
type Finding struct {
	Kind  Kind   `json:"kind"`
	Sure  bool   `json:"sure"`            // false: something that hides it looks the same
	Count int    `json:"count,omitempty"` // slots or pixels, as the kind has it
	Other string `json:"other,omitempty"` // another string
	Says  string `json:"says"`            // what is seen
	Do    string `json:"do"`              // what to do about it
}

// Kind is what a finding is about.
type Kind string

// The kinds.
const (
	KindStart    Kind = "start"    // it answers addresses Count slots later than planned
	KindHead     Kind = "head"     // its first Count addresses are not seen
	KindTail     Kind = "tail"     // its last Count addresses are not seen
	KindLonger   Kind = "longer"   // Count pixels more than planned are lit
	KindNulls    Kind = "nulls"    // the port skips Count pixels more than the plan says
	KindReversed Kind = "reversed" // the last address is at the first pixel
	KindCopies   Kind = "copies"   // Count pixels show each address
	KindPacking  Kind = "packing"  // pixels straddle universes against the plan, or do not
	KindSwapped  Kind = "swapped"  // it answers the addresses of Other
	KindDouble   Kind = "double"   // its addresses are seen at two places
	KindOrder    Kind = "order"    // colours come in another order
	KindColour   Kind = "colour"   // one colour is missing on all of it
	KindUnseen   Kind = "unseen"   // nothing of it was read
)

// Verdict is what was seen of a pixel.
type Verdict string

// The verdicts. NotSeen is never dead: what hides a pixel looks the same.
const (
	Good          Verdict = "good"
	ColourMissing Verdict = "colour-missing"
	ColourOrder   Verdict = "colour-order"
	OtherAddress  Verdict = "other-address"
	Stuck         Verdict = "stuck"
	NotSeen       Verdict = "not-seen"
)

// Verdicts returns them, what is to be looked at first ahead.
func Verdicts() []Verdict {
	return []Verdict{Stuck, ColourMissing, OtherAddress, ColourOrder, NotSeen, Good}
}

// Pixel is what was seen of one pixel.
type Pixel struct {
	String  string  `json:"string"`
	Pixel   int     `json:"pixel"` // from 1
	X       float64 `json:"x"`     // in the picture, in pixels of it; with Y both 0: not known
	Y       float64 `json:"y"`
	Film    int     `json:"film,omitempty"` // index in Films of the picture
	Verdict Verdict `json:"verdict"`
	Detail  string  `json:"detail,omitempty"` // colours missing, or which pixel's address it shows

	// Confidence is from 0, nothing is claimed, to 1. It ranks verdicts and is no
	// probability.
	Confidence float64 `json:"confidence"`
}
