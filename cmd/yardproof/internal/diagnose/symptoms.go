package diagnose

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
)

// Symptom is a row of the table: what is seen, what causes it, most likely first,
// and the test that tells the causes apart.
type Symptom struct {
	Number  int      `json:"number"`
	Symptom string   `json:"symptom"`
	Causes  []string `json:"causes"`
	Test    []string `json:"test"`
	words   string   // further words people use for it
	seen    []string // what the page calls it at the steps of a proof
}

// Symptoms is the table. It is common practice without a published source.
func Symptoms() []Symptom {
	return []Symptom{
		{1, "A whole port is dark", []string{"no V+, or its fuse", "the data-out end is plugged in", "wrong universe or address", "the first pixel or a null pixel is dead", "the chip setting of the port"},
			[]string{"Run the controller's own test. If it lights, look at the network and the plan.", "If not, put a known-good short string on the port. If that lights, the string is at fault. If it stays dark, the port is."}, "string nothing lights", []string{"nothing lights"}},
		{2, "Several strings are dark", []string{"the receiver's power or setting", "the link cable", "the feeder's fuse", "the supply", "a block of universes"},
			[]string{"Find what they share: yardproof diagnose --dark NAME,NAME PLAN.", "Measure volts at the shared element."}, "many group", nil},
		{3, "The first pixel is good, the rest are dark", []string{"the output of pixel 1, or the joint to pixel 2", "the count of the port is set to 1"},
			[]string{"Look at the port's count against the plan.", "Replace pixel 2 first, then pixel 1: either may be at fault."}, "only one", nil},
		{4, "Good up to pixel k, then dark", []string{"V+ or return is broken", "data is broken since power-up"},
			[]string{"Measure volts at the first dark pixel. No volts: the power is broken. Good volts: the data is."}, "break half tail broken", []string{"dark after a pixel"}},
		{5, "Good up to pixel k, then frozen", []string{"the data is broken, the power is good"},
			[]string{"Send dark. The tail stays lit."}, "stuck break tail hold", []string{"the tail stays lit"}},
		{6, "One pixel is dark, the rest good", []string{"a dead LED on a live chip", "a chip with a backup data line"},
			[]string{"Look with one-slot: all its colours are missing, or one."}, "single dead", []string{"one pixel dark", "one pixel of another colour"}},
		{7, "Sparkle from pixel 1 at any level", []string{"a long data lead (over 6 m unaided)", "no common return", "the chip speed of the port", "mains cable alongside"},
			[]string{"Try 5 % level.", "Put the string directly at the port."}, "flicker noise random flash", []string{"flickers"}},
		{8, "Sparkle only when bright", []string{"low volts", "a weak return or joint"},
			[]string{"If it is calm at 10 % but not at 60 %, measure volts there while it is white. ramp finds the level."}, "flicker noise full white", []string{"sparkles when bright"}},
		{9, "White yellows, then reddens, gradually", []string{"voltage drop", "an injection fuse is open", "thin or clad wire"},
			[]string{"Measure amps at each feed. One that reads nothing is open.", "If red alone is even and blue alone fades, it is voltage drop."}, "brown browning pink dim orange far end", []string{"yellow or red far end"}},
		{10, "A step in brightness at one place", []string{"a resistive joint", "that section hangs on another supply", "another batch of pixels"},
			[]string{"Measure millivolts across the joint, on each conductor."}, "dimmer", []string{"a step in brightness"}},
		{11, "The same wrong colour everywhere", []string{"the colour order is wrong", "it was corrected on the port and in the plan, so the two cancel"},
			[]string{"yardproof diagnose --seen COLOURS, from colour-order or one-slot."}, "order swapped red green", []string{"colours in another order"}},
		{12, "Candy colours: no two neighbours alike", []string{"three and four channels mixed up"},
			[]string{"Look with one-slot. A picture that repeats every 3 pixels means four channels a pixel; every 4 pixels, three channels."}, "rainbow rgbw", []string{"no two neighbours alike"}},
		{13, "Colours rotate from pixel 171 on", []string{"the plan and the controller count universes differently: 510 channels and 512"},
			[]string{"Send red. Blue from 171 and green from 342: the plan packs whole pixels, and the controller counts 512 channels. Green from 171 and blue from 341: it is the other way round."}, "170 shift universe straddle", nil},
		{14, "The picture is stretched, or only every n-th pixel lights", []string{"copies set on the port", "a chip that drives several outputs"},
			[]string{"Show walk and count how many light at once."}, "double grouping", []string{"runs doubled"}},
		{15, "The tail is dark, or shows the next string", []string{"the number of pixels or null pixels is wrong; with backward flow that moves the start"},
			[]string{"Show ends and count the dark pixels past the red one."}, "end last missing count", []string{"dark past the red", "no red end"}},
		{16, "The wrong string answers", []string{"ports or universes swapped", "strings chained in the wrong order"},
			[]string{"Show number on all strings at once, then: yardproof diagnose --answered LIT=SEEN PLAN."}, "swapped other", []string{"another string answers", "another number"}},
		{17, "Lit in dark, or two pictures at once", []string{"a second source", "the controller's test mode", "the controller holds an old picture", "a self-test at power-up"},
			[]string{"Unplug the network. If it stops, another source sends it. If it goes on, the controller makes it; if it goes on without the data wire, the pixels do."}, "stuck ghost fight flicker", []string{"pixels stay lit", "all stays lit"}},
		{18, "Dies after minutes, returns when cool", []string{"a resettable fuse or a thermal trip", "the supply is hot"},
			[]string{"Measure amps and volts at minute 0 and at minute 10."}, "heat cuts out", []string{"dies after minutes"}},
		{19, "Fails when wet; the residual-current device trips", []string{"it trips: a mains plug, socket or supply is wet", "it trips: many supplies on one device, each leaks a little", "it trips: a supply whose isolation is bad", "it fails and does not trip: water in a joint of the DC side, which an isolated supply keeps from the mains"},
			[]string{"Leave it switched off and let everything dry. Work on nothing while it is wet.", "Count the supplies on that device: plan with 3.5 mA of leakage each where its plate says nothing, and stay within a quarter of the device's rating.", "If it stays in once the DC side is unplugged, suspect the isolation of that supply: do not use it again.", "The mains side is for a licensed person."}, "rain rcd gfci water wet leakage", []string{"fails when wet"}},
		{20, "Everything stutters, or one controller does", []string{"Wi-Fi", "multicast flooding a 100 Mb/s port", "its cable", "its limit of universes"},
			[]string{"Run yardproof listen at that switch port.", "Try unicast."}, "lag jerky frames freeze", nil},
		{21, "It runs backwards, or begins at the wrong pixel", []string{"the direction set on the port, or flow in the plan", "the null pixels of the port, or null_pixels in the plan", "the first channel"},
			[]string{"Show ends. Green at the far end: turn the direction round once, on the port or in the plan.", "Green some pixels late, or not there: set null pixels and first channel as yardproof plan --sheet says."}, "reversed direction start null", []string{"it runs backwards", "first pixel not green"}},
		{22, "The meter reads too few amps", append(lowCauses(), "a feed of the string is open: its fuse or its lead"),
			[]string{"Read every feed of the string.", "Compare with the plan: yardproof diagnose --amps AMPS --string NAME PLAN."}, "low current clamp reading", []string{"amps too low"}},
		{23, "The meter reads too many amps", append(highCauses(), openElsewhere),
			[]string{"Compare with the fuse before going on at this level.", "Compare with the plan: yardproof diagnose --amps AMPS --string NAME PLAN."}, "high current clamp reading", []string{"amps too high"}},
	}
}

// FindSymptoms returns the rows for what was seen at the steps of a proof, with ; between;
// else those that share words with the text, best first; all rows for an empty text.
func FindSymptoms(text string) []Symptom {
	all := Symptoms()
	if rows := seenRows(all, text); rows != nil {
		return rows
	}
	asked := words(text)
	if len(asked) == 0 {
		return all
	}
	// A word counts the more the fewer rows have it.
	score := map[int]float64{}
	for _, w := range asked {
		hits, rows := map[int]float64{}, 0.0
		for _, s := range all {
			switch {
			case slices.Contains(words(s.Symptom), w):
				hits[s.Number] = 2
			case slices.Contains(words(s.words), w):
				hits[s.Number] = 1
			default:
				continue
			}
			rows++
		}
		for row, hit := range hits {
			score[row] += hit / rows
		}
	}
	all = slices.DeleteFunc(all, func(s Symptom) bool { return score[s.Number] == 0 })
	slices.SortStableFunc(all, func(a, b Symptom) int { return cmp.Compare(score[b.Number], score[a.Number]) })
	return all
}

// seenRows returns the row of each thing that was seen; nil when one is no word of the page.
func seenRows(all []Symptom, text string) (rows []Symptom) {
	for thing := range strings.SplitSeq(text, ";") {
		i := slices.IndexFunc(all, func(s Symptom) bool { return slices.Contains(s.seen, strings.TrimSpace(thing)) })
		if i < 0 {
			return nil
		}
		if !slices.ContainsFunc(rows, func(s Symptom) bool { return s.Number == all[i].Number }) {
			rows = append(rows, all[i])
		}
	}
	return rows
}

// symptomRows finds rows by words or by number, a few at most; all for an empty text.
func symptomRows(text string) ([]Symptom, error) {
	all := Symptoms()
	if n, err := strconv.Atoi(strings.TrimPrefix(text, "#")); err == nil {
		if n < 1 || n > len(all) {
			return nil, inputf("symptoms are numbered from 1 to %d", len(all))
		}
		return all[n-1 : n], nil
	}
	if text == "" {
		return all, nil
	}
	found := FindSymptoms(text)
	if len(found) == 0 {
		return nil, inputf("no symptom matches %.60q; ask for the whole table", text)
	}
	return found[:min(3, len(found))], nil
}

// words splits a text, without what says nothing and without plural endings.
func words(text string) []string {
	fields := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') })
	fields = slices.DeleteFunc(fields, func(w string) bool {
		return len(w) < 2 || slices.Contains([]string{"the", "is", "are", "in", "at", "on", "or", "and", "it", "of", "to", "up", "no", "all", "when", "then", "only", "from", "its"}, w)
	})
	for i, w := range fields {
		if len(w) > 3 {
			fields[i] = strings.TrimSuffix(w, "s")
		}
	}
	return fields
}

// symptomAnswer is a row of the table as an answer to a finding.
func symptomAnswer(finding string, number int) Answer {
	s := Symptoms()[number-1]
	return Answer{Finding: finding, Wrong: true, Causes: s.Causes, Next: s.Test, Basis: Practice, Caution: Caution}
}
