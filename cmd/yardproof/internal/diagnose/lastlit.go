package diagnose

import (
	"fmt"

	"yardproof/config"
)

// Tail is what the pixels past the last good one do.
type Tail string

// The tails.
const (
	TailDark    Tail = "dark"
	TailFrozen  Tail = "frozen"  // lit, but not following
	TailSparkle Tail = "sparkle" // lit with noise
	TailColours Tail = "colours" // following, in wrong colours
	TailUnknown Tail = ""
)

// lastLitAnswer answers for a string that is good up to a pixel, counted from 1. The
// string may be nil; with it the answer names what the plan has at that place.
func lastLitAnswer(p *config.Plan, s *config.String, pixel, pixels int, tail Tail) (Answer, error) {
	if s != nil {
		pixels = s.Pixels
	}
	switch tail {
	case TailDark, TailFrozen, TailSparkle, TailColours, TailUnknown:
	default:
		return Answer{}, inputf("%.20q is not something a tail does: write dark, frozen, sparkle or colours", string(tail))
	}
	if pixel < 0 || pixel > pixels {
		return Answer{}, inputf("the last lit pixel is 0 (none) to %d, not %d", pixels, pixel)
	}
	rotates := 170 // the last pixel before a universe of 510 channels differs from one of 512
	if s != nil {
		rotates = -1
		if s.ChannelsPerPixel() == 3 && s.Channel%3 == 1 { // two channels are left over, as from channel 1
			rotates = (513 - s.Channel) / 3
		}
	}
	a := lastLit(pixel, pixels, rotates, tail)
	if s != nil && pixel == 0 {
		a.Next = append(atTheStart(s), a.Next...)
	}
	if s != nil && pixel > 0 && pixel < pixels {
		a.Causes = append(placesAt(p, s, pixel, tail), a.Causes...)
	}
	return a, nil
}

// atTheStart is where to look first when no pixel lights: at what takes no tool.
func atTheStart(s *config.String) []string {
	plug := "Look at its plug"
	if s.Controller != nil {
		plug += ": controller " + s.Controller.Name
	}
	if s.Port != "" {
		plug += ", port " + s.Port
	}
	end := "the string's data-in end"
	if s.Flow == config.Backward {
		end += fmt.Sprintf(", at pixel %d: its flow is backward", s.Pixels)
	}
	return []string{plug + ", and the port switched on. The other end of that cable goes to " + end + ".",
		fmt.Sprintf("Measure volts at its feed at %s. None: its supply is off, or a fuse is open.", s.Feeds[0].At)}
}

func lastLit(pixel, pixels, rotates int, tail Tail) Answer {
	here := fmt.Sprintf("Good up to pixel %d", pixel)
	switch {
	case pixel == 0:
		return symptomAnswer("No pixel is lit.", 1)
	case pixel == pixels:
		a := symptomAnswer("Every pixel of the plan is lit.", 15)
		a.Wrong = false
		a.Causes = []string{}
		return a
	case tail == TailFrozen:
		a := atBreak(pixel)
		a.Finding = here + fmt.Sprintf(". From pixel %d on they are frozen: the data is broken there, and the power is good.", pixel+1)
		a.Causes = []string{fmt.Sprintf("the data input of pixel %d", pixel+1), fmt.Sprintf("the data output of pixel %d", pixel), "the data wire between them"}
		a.Next = append([]string{"Send dark. A tail that stays lit confirms it."}, a.Next[1:]...)
		return a
	case tail == TailSparkle:
		a := symptomAnswer(here+", then sparkle.", 8)
		a.Causes = append([]string{fmt.Sprintf("a weak joint between pixels %d and %d", pixel, pixel+1)}, a.Causes...)
		return a
	case tail == TailColours:
		if pixel == rotates {
			a := symptomAnswer(here+", then the colours rotate.", 13)
			if pixel != 170 {
				a.Next = []string{fmt.Sprintf("Send red. Blue from %d: the plan packs whole pixels, and the controller counts 512 channels. Green from %d: it is the other way round.", pixel+1, pixel+1)}
			}
			return a
		}
		a := symptomAnswer(here+", then wrong colours.", 12)
		a.Causes = append([]string{fmt.Sprintf("from pixel %d on the pixels have another colour order, or are of another kind", pixel+1)}, a.Causes...)
		return a
	case pixel == 1:
		return symptomAnswer("The first pixel is good, the rest are dark.", 3)
	}
	a := atBreak(pixel)
	a.Finding = here + fmt.Sprintf(", dark from pixel %d on.", pixel+1)
	if tail == TailUnknown {
		a.Next = append([]string{"Send dark. A tail that stays lit is frozen: the data is broken, and the power is good."}, a.Next...)
	}
	return a
}

// powerAt lists where power enters, or ends, between a pixel and the next.
func powerAt(s *config.String, pixel int) []string {
	var places []string
	for _, c := range s.CutPositiveAfter {
		if c == pixel {
			places = append(places, fmt.Sprintf("the plan cuts V+ after pixel %d: look at the feed beyond it, its fuse and its supply", pixel))
		}
	}
	for _, f := range s.Feeds {
		if f.At == "start" { // it joins ahead of pixel 1, which is good
			continue
		}
		if lit := f.Address - s.NullPixels; lit == pixel || lit == pixel+1 {
			places = append(places, fmt.Sprintf("power enters at pixel %d: look at the joint of that feed", max(1, lit)))
		}
	}
	return places
}

// placesAt lists what the plan has between a pixel and the next. Where the tail is
// frozen, or follows, its power is good: feeds and cuts of V+ are not to blame.
func placesAt(p *config.Plan, s *config.String, pixel int, tail Tail) []string {
	var places []string
	for _, j := range s.Jumpers {
		if j.After == pixel {
			places = append(places, fmt.Sprintf("the plan has a jumper of %g m after pixel %d: look at its two joints", j.Wire.Metres, pixel))
		}
	}
	if tail != TailFrozen && tail != TailColours {
		places = append(places, powerAt(s, pixel)...)
	}
	if p == nil {
		return places
	}
	for _, seg := range p.Map().Strings[s.Index].Segments {
		if seg.FirstPixel == pixel+1 {
			places = append(places, fmt.Sprintf("pixel %d is the first of universe %d: is that universe set on the port, and does the controller get it?", pixel+1, seg.Universe))
		}
	}
	return places
}
