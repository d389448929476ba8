package diagnose

import (
	"fmt"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
)

// seenRuns is what colour-order looks like pixel by pixel, from the data end: a letter
// (R G B W, or ? for a mixture) for a lit pixel, a dot for a dark one.
type seenRuns struct {
	Seen     []string // colours of slots 1, 2, 3 (and 4)
	Hidden   int      // lit pixels of the plan ahead of the first one seen: hidden or dead
	Ahead    int      // dark pixels ahead of the first lit one, beyond the picture's own
	Copies   int      // pixels that show the same address
	Backward bool     // the port counts from the far end
	Dark     []int    // pixels, from 1, that should be lit and are not
}

// parseRuns reads such a text; blanks are ignored.
func parseRuns(text string) (string, error) {
	text = strings.ToUpper(strings.Join(strings.Fields(text), ""))
	for i, r := range text {
		if !strings.ContainsRune("RGBW?.", r) {
			return "", inputf("%q in place %d is not a pixel: write R, G, B or W for a lit one, ? for mixed colours, a dot for a dark one", r, i+1)
		}
	}
	if strings.Trim(text, ".") == "" {
		return "", inputf("no lit pixel was given")
	}
	if len(text) > 4096 {
		return "", inputf("the first 100 pixels are enough")
	}
	return text, nil
}

// readRuns finds what lets colour-order look like the text: the colours of the
// slots, and what the port or a hidden pixel does to it. It prefers the simplest
// reading and gives none when simple readings differ in the colours, or when
// nothing fits.
func readRuns(text string, channels int) (seenRuns, bool) {
	leading := len(text) - len(strings.TrimLeft(text, "."))
	for _, allowed := range []int{0, 1, 2} { // dead pixels
		var found []seenRuns
		for _, backward := range []bool{false, true} {
			for copies := 1; copies <= 4; copies++ {
				for shift := range len(period(channels)) * copies {
					for _, ahead := range slices.Compact([]int{0, leading}) {
						r, ok := fit(text[ahead:], channels, seenRuns{Hidden: shift, Ahead: ahead, Copies: copies, Backward: backward}, allowed)
						if ok {
							found = append(found, r)
						}
					}
				}
			}
		}
		if len(found) == 0 {
			continue
		}
		best := found[0]
		for _, r := range found[1:] {
			if strings.Join(r.Seen, "") != strings.Join(best.Seen, "") {
				return seenRuns{}, false
			}
			if r.Backward == best.Backward && r.Copies == best.Copies && r.Hidden+r.Ahead < best.Hidden+best.Ahead {
				best = r
			}
		}
		for i := range best.Dark {
			best.Dark[i] += best.Ahead
		}
		return best, true
	}
	return seenRuns{}, false
}

// period is one turn of colour-order: slots as digits from 1, 0 for dark.
func period(channels int) string {
	if channels == 4 {
		return "1102220333304444400000"
	}
	return "1102220333300000"
}

func fit(text string, channels int, r seenRuns, allowed int) (seenRuns, bool) {
	turn := period(channels)
	length := len(turn) * r.Copies
	text = strings.TrimRight(text, ".") // the last turn may be cut short
	first := 0
	if r.Backward {
		first = len(text) - len(strings.TrimLeft(text, "."))
	}
	var seen [5]byte
	for i := first; i < len(text); i++ {
		at := (i - first + r.Hidden) % length
		if r.Backward {
			at = length - 1 - at
		}
		slot := turn[at/r.Copies] - '0'
		switch c := text[i]; {
		case slot == 0 && c != '.':
			return r, false
		case slot == 0:
		case c == '.':
			if r.Dark = append(r.Dark, i+1); len(r.Dark) > allowed {
				return r, false
			}
		case seen[slot] == 0:
			seen[slot] = c
		case seen[slot] != c:
			return r, false
		}
	}
	for slot := 1; slot <= channels; slot++ {
		if seen[slot] == 0 || seen[slot] == '?' {
			return r, false
		}
		for other := 1; other < slot; other++ {
			if seen[other] == seen[slot] {
				return r, false
			}
		}
		r.Seen = append(r.Seen, string(seen[slot]))
	}
	if r.Backward {
		r.Hidden, r.Ahead = 0, 0 // the far end is not in sight
	}
	return r, true
}

// candied reports whether no two lit neighbours are alike, in several places:
// what three and four channels mixed up look like.
func candied(text string) bool {
	pairs := 0
	for i := 1; i < len(text); i++ {
		if text[i] == '.' || text[i-1] == '.' {
			continue
		}
		if text[i] == text[i-1] && text[i] != '?' {
			return false
		}
		pairs++
	}
	return pairs >= 2 || strings.Contains(text, "?")
}

// runsAnswer is [orderAnswer] for somebody who wrote down what colour-order looks like.
func runsAnswer(text string, l orderSeen) (Answer, error) {
	text, err := parseRuns(text)
	if err != nil {
		return Answer{}, err
	}
	channels := 3
	if len(l.PlanOrder) == 4 || l.PlanOrder == "" && len(l.PortSet) == 4 && !l.WhiteDerived || strings.Contains(text, "W") && !candied(text) {
		channels = 4
	}
	r, ok := readRuns(text, channels)
	switch {
	case !ok && candied(text):
		return candy("No two lit neighbours are alike."), nil
	case !ok:
		return Answer{
			Finding: "These runs fit no colour order.", Wrong: true,
			Causes: []string{"too few pixels were written down, or one was misread", "the string zig-zags (fold), so that neighbours on the wire are not neighbours to the eye", "sparkle or low volts: the picture itself is not steady"},
			Next:   []string{"Use one-slot: every pixel shows slot 1, then 2, then 3. It needs no counting."},
			Basis:  Practice,
		}, nil
	}
	l.Seen = r.Seen
	a, err := orderAnswer(l)
	if err != nil {
		return a, err
	}
	var also []string
	switch {
	case r.Ahead > 0 && r.Ahead == r.Hidden:
		also = append(also, fmt.Sprintf("the first %s dark and should be lit: dead, or hidden", strings.TrimPrefix(textout.Count(r.Ahead, "pixel is", "pixels are"), "1 ")))
	case r.Ahead > 0 && r.Hidden == 0 && r.Ahead != l.NullPixels:
		also = append(also, fmt.Sprintf("%s dark ahead of pixel 1 and the plan has %s: its null pixels, or the port's, are wrong", textout.Count(r.Ahead, "pixel is", "pixels are"), textout.Count(l.NullPixels, "null pixel", "null pixels")))
	}
	if r.Hidden > 0 && r.Ahead != r.Hidden {
		also = append(also, fmt.Sprintf("%s ahead of the first lit one is hidden, dead or skipped (a null pixel): the runs begin late", textout.Count(r.Hidden, "pixel", "pixels")))
	}
	if r.Copies > 1 {
		also = append(also, fmt.Sprintf("the port shows each address on %d pixels (copies)", r.Copies))
	}
	if r.Backward {
		also = append(also, "the port counts from the far end (backward)")
	}
	for _, p := range r.Dark {
		also = append(also, fmt.Sprintf("pixel %d should be lit and is not: look at it with one-slot", p))
	}
	if len(also) > 0 {
		a.Wrong = true
		a.Finding += " Also: " + strings.Join(also, "; ") + "."
	}
	return a, nil
}
