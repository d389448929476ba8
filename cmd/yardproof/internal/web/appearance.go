package web

import (
	"fmt"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/patterns"
)

// viewed is what a person who stands in front of one string should see.
type viewed struct {
	String string `json:"string"`
	Lit    bool   `json:"lit"`   // it is among the strings that are shown
	Looks  string `json:"looks"` // one or two sentences
	Watch  string `json:"watch"` // what would be wrong, and means what

	Meter  []feedAmps `json:"meter"`  // nil: not known
	Swings bool       `json:"swings"` // the current changes with the picture

	WhiteCount int `json:"white_count"` // pixels to light for a reading of white, evenly spread; 0: all
}

// view tells what a string should look like and draw; nil when the plan has none
// of that name. The picture beside it is drawn from the slots that were sent; this
// is for the ear and for doubt.
func (s *Server) view(now session.Snapshot, name string) *viewed {
	str := now.Plan.Find(name)
	if str == nil {
		return nil
	}
	lit := now.Shown.Lights(name)
	v := &viewed{
		String: name, Lit: lit, Swings: lit && now.Shown.Pattern.Swings,
		Looks: "Dark, every pixel.", Watch: "What stays lit is stuck, holds an old picture, or gets data from another sender.",
		Meter: s.meters.of(now, str), WhiteCount: s.meters.whiteCount(now, str),
	}
	if lit {
		v.Looks, v.Watch = describe(str, now.Shown)
	}
	return v
}

func describe(str *config.String, show session.Shown) (looks, watch string) {
	n := str.Pixels
	colours := light.Colours(str.Order)
	switch show.Pattern.Name {
	case patterns.Number:
		return blinks(str.Number()), "Another number: ports or universes are swapped."
	case patterns.OneSlot:
		if k := show.Options.Slot; k >= 1 && k <= len(colours) {
			return "All " + colours[k-1] + ".", "Another colour: the colour order is wrong. One pixel dark: that LED of it is dead."
		}
		return fmt.Sprintf("All %s, two seconds each.", strings.Join(colours, ", then all ")),
			"Colours in another sequence: the colour order is wrong. One pixel missing one colour: that LED is dead."
	case patterns.ColourOrder:
		var runs []string
		for k, c := range colours {
			runs = append(runs, strconv.Itoa(k+2)+" "+c)
		}
		return strings.Join(runs, ", ") + ", one dark between, five dark after, and again.",
			"From " + first(str) + ": the shortest run comes first. If " + longRun(len(colours)) + " comes first, the string or its flow is reversed."
	case patterns.Ends:
		if n < 9 {
			return "First pixel green, last red; those between glow faint blue." + begins(str), "No red: the plan counts too many pixels. Dark ones past it: too few."
		}
		return fmt.Sprintf("First pixel green and pixel %d, the last, red; three whites next to each; all others glow faint blue.", n) + begins(str),
			"Dark pixels past the red: the plan counts that many too few. No red: count the whites at the end; 3 means one too many, 2 two, 1 three."
	case patterns.Walk:
		return fmt.Sprintf("One white pixel walks from 1 to %d, ten a second.", n) + begins(str),
			"A missed step is a dead pixel; two at once mean copies."
	case patterns.Ruler:
		return "All faint blue, with white marks: 1 pixel at each 5, 2 at 10, 3 at 50, 4 at 100. The last pixel of a mark is the number.", "The glow is no fault. Count the marks from " + first(str) + "."
	case patterns.Half:
		p := show.Options.Pixel
		if p < 1 || p > n {
			p = (n + 1) / 2
		}
		return fmt.Sprintf("White at pixel %d, blue below it, amber above.", p) + begins(str), "No white: the break is below."
	case patterns.Tick:
		return "Blue and amber in turn, one change a second.", "A tail out of step: a joint before it lets go."
	case patterns.FullWhite:
		if c := show.Options.Count; c >= 1 && c < n {
			return fmt.Sprintf("%d of %d pixels white, evenly spread.", c, n), "Yellow or red towards the end: volts are low there."
		}
		return "All white, one tone from end to end.", "Yellow or red towards the end: volts are low there."
	case patterns.Block:
		o := show.Options
		if o.First == 0 {
			return "Some neighbouring pixels white, the rest dark." + begins(str), "It is a load for a meter, not for the eye."
		}
		return fmt.Sprintf("Pixels %d to %d white, the rest dark.", o.First, o.Last) + begins(str), "It is a load for a meter: Find out, A bad joint."
	case patterns.Ramp:
		return "All from dark to white and back, in twenty seconds.", "Note the level at which trouble starts."
	case patterns.Code:
		return "Dark for a second, then every LED blinks its own address.", "Made for a camera: film it for 20 seconds, the phone leaning on something."
	}
	return "As in the picture.", ""
}

// first names the end of a string at which its pixels are counted from.
func first(str *config.String) string {
	if str.Flow == config.Backward {
		return "the far end (flow is backward)"
	}
	return "the data end"
}

// begins says where the first pixel is, when that is not the data end.
func begins(str *config.String) string {
	if str.Flow == config.Backward {
		return " Flow is backward: the first pixel is at the far end, away from the data."
	}
	return ""
}

// longRun is the length of the last run of colour-order.
func longRun(channels int) string { return strconv.Itoa(channels + 1) }

// blinks says how a number is blinked: each digit in the colour of its place, a
// nought as one long blink.
func blinks(number int) string {
	places := [...]string{"white", "blue", "red", "green"}
	digits := strconv.Itoa(number)
	var parts []string
	for i, d := range digits {
		colour := places[(len(digits)-1-i)%len(places)]
		switch d {
		case '0':
			parts = append(parts, "one long "+colour)
		case '1':
			parts = append(parts, "1 "+colour)
		default:
			parts = append(parts, string(d)+" "+colour)
		}
	}
	return "Blinks " + strings.Join(parts, ", then ") + ", a pause, and again."
}
