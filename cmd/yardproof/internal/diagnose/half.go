package diagnose

import (
	"fmt"
	"math/bits"

	"yardproof/cmd/yardproof/internal/textout"
)

// Search halves the way to a break: the pattern half lights one pixel white, and
// the next question is always whether that pixel is seen white.
type Search struct {
	Good int `json:"good"` // the furthest pixel seen right, 0: none
	Dark int `json:"dark"` // the nearest pixel not seen, pixels+1: none
}

// NewSearch begins a search on a string of so many pixels.
func NewSearch(pixels int) Search { return Search{0, pixels + 1} }

// Next is the pixel to light white; 0 when the break is found.
func (s Search) Next() int {
	if s.Found() {
		return 0
	}
	return s.Good + (s.Dark-s.Good)/2
}

// Found reports whether the break is between two neighbours.
func (s Search) Found() bool { return s.Dark-s.Good <= 1 }

// Steps is how many more looks it takes at most.
func (s Search) Steps() int { return bits.Len(uint(max(0, s.Dark-s.Good-1))) }

// Saw narrows the search: whether pixel p was seen white.
func (s Search) Saw(p int, lit bool) Search {
	switch {
	case lit && p > s.Good:
		s.Good = min(p, s.Dark-1)
	case !lit && p < s.Dark:
		s.Dark = max(p, s.Good+1)
	}
	return s
}

// Answer says where the break is, or which pixel to light next.
func (s Search) Answer(pixels int) (Answer, error) {
	if s.Good < 0 || s.Dark > pixels+1 || s.Good >= s.Dark {
		return Answer{}, inputf("pixel %d lit and pixel %d dark do not fit on a string of %d: the lit one must come first", s.Good, s.Dark, pixels)
	}
	if s.Found() {
		if s.Dark > pixels {
			return Answer{Finding: "The last pixel is lit. There is no break.", Causes: []string{}, Next: []string{"Count with ends. Dark pixels past the red one mean that the plan has too few pixels."}, Basis: Practice}, nil
		}
		return atBreak(s.Good), nil
	}
	where := fmt.Sprintf("before pixel %d", s.Dark)
	if s.Good > 0 {
		where = fmt.Sprintf("between pixel %d and pixel %d", s.Good, s.Dark)
	}
	return Answer{
		Finding: fmt.Sprintf("The break is %s. At most %s.", where, textout.Count(s.Steps(), "more look", "more looks")),
		Wrong:   true,
		Causes:  []string{},
		Next: []string{
			fmt.Sprintf("Show half with pixel %d. If you see it white, the break is after it. If not, it is before it. Pixels before it are blue, pixels after it amber.", s.Next()),
			fmt.Sprintf("Then ask again: yardproof diagnose --half %d,%d if you saw it white, --half %d,%d if not.", s.Next(), s.Dark, s.Good, s.Next()),
		},
		Basis: Practice,
	}, nil
}

func atBreak(good int) Answer {
	if good == 0 {
		return symptomAnswer("No pixel is lit.", 1)
	}
	return Answer{
		Finding: fmt.Sprintf("The break is between pixel %d (the last good one) and pixel %d (the first dark one).", good, good+1),
		Wrong:   true,
		Causes:  []string{fmt.Sprintf("the input of pixel %d", good+1), fmt.Sprintf("the output of pixel %d", good), "the joint between them (V+, return or data)"},
		Next: []string{
			fmt.Sprintf("Measure volts at pixel %d. No volts: the power is broken there. Good volts: the data is.", good+1),
			"Switch off and isolate before cutting.",
			fmt.Sprintf("Replace pixel %d first, then pixel %d. Either may be at fault.", good+1, good),
		},
		Basis: Practice, Caution: Caution,
	}
}
