package judge

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
)

// meant says which kinds of fault a sentence of the fixed lists sends somebody to, by
// words of it; the first row that fits holds. What means none of the planted kinds is
// no guess. Where a sentence is vague it is taken to mean all that it may.
var meant = []struct {
	words string
	kinds []yard.Kind
}{
	{"no v+, or its fuse", []yard.Kind{yard.FuseBlown, yard.FeedOff, yard.SupplyOff}},
	{"wrong universe or address", []yard.Kind{yard.WrongDelivery, yard.SwappedUniverses, yard.WrongStart}},
	{"first pixel or a null pixel is dead", []yard.Kind{yard.DeadChip, yard.BrokenData, yard.WrongNulls}},
	{"chip setting of the port", []yard.Kind{yard.WrongChip}},
	{"chip speed of the port", []yard.Kind{yard.WrongChip}},
	{"receiver's power or setting", []yard.Kind{yard.WrongDelivery, yard.Frozen}},
	{"a block of universes", []yard.Kind{yard.WrongDelivery, yard.WrongStart}},
	{"the output of pixel 1, or the joint", broken},
	{"count of the port is set", []yard.Kind{yard.WrongCount}},
	{"v+ or return is broken", []yard.Kind{yard.BrokenPositive, yard.BrokenReturn}},
	{"data is broken since", []yard.Kind{yard.BrokenData, yard.DeadChip}},
	{"the input of pixel", []yard.Kind{yard.BrokenData, yard.DeadChip}},
	{"the output of pixel", []yard.Kind{yard.BrokenData, yard.DeadChip}},
	{"the data input of pixel", []yard.Kind{yard.BrokenData, yard.DeadChip}},
	{"the joint between them", broken},
	{"a dead led on a live chip", []yard.Kind{yard.DeadPixel, yard.DeadColour}},
	{"a chip with a backup data line", []yard.Kind{yard.DeadChip}},
	{"a long data lead", []yard.Kind{yard.LongDataLead}},
	{"no common return", []yard.Kind{yard.NoReturnBond}},
	{"low volts", []yard.Kind{yard.SupplySag, yard.ThinWire}},
	{"a weak return or joint", []yard.Kind{yard.JointReturn, yard.JointPositive, yard.NoReturnBond, yard.WetJoint}},
	{"a weak joint between", []yard.Kind{yard.JointReturn, yard.JointPositive, yard.WetJoint}},
	{"water in a joint", []yard.Kind{yard.WetJoint}},
	{"voltage drop", []yard.Kind{yard.SupplySag, yard.ThinWire}},
	{"an injection fuse is open", open},
	{"thin or clad wire", []yard.Kind{yard.ThinWire}},
	{"a resistive joint", []yard.Kind{yard.JointPositive, yard.JointReturn}},
	{"colour order", []yard.Kind{yard.WrongOrder}},
	{"three and four channels", []yard.Kind{yard.FourForThree}},
	{"pixels of three and four", []yard.Kind{yard.FourForThree}},
	{"three channels a pixel are sent", []yard.Kind{yard.FourForThree}},
	{"another number of channels", []yard.Kind{yard.FourForThree}},
	{"count universes differently", []yard.Kind{yard.WrongPack}},
	{"the number of pixels or null pixels", []yard.Kind{yard.WrongCount, yard.WrongNulls, yard.Reversed}},
	{"ports or universes swapped", []yard.Kind{yard.SwappedPorts, yard.SwappedUniverses}},
	{"swapped:", []yard.Kind{yard.SwappedPorts, yard.SwappedUniverses}},
	{"chained in the wrong order", []yard.Kind{yard.SwappedPorts}},
	{"a second source", []yard.Kind{yard.SecondSource}},
	{"test mode", []yard.Kind{yard.OwnTest}},
	{"holds an old picture", []yard.Kind{yard.Frozen}},
	{"the supply is hot", []yard.Kind{yard.HotSupply}},
	{"thermal trip", []yard.Kind{yard.HotSupply}},
	{"the fuse or the lead of this feed is open", open},
	{"dark pixels, or pixels with a dead colour", []yard.Kind{yard.DeadPixel, yard.DeadColour}},
	{"fewer pixels than the plan", []yard.Kind{yard.WrongCount}},
	{"a bad contact at this feed", []yard.Kind{yard.JointLead}},
	{"is open (its fuse or its lead)", open},
	{"another feed of this string is open", open},
	{"a feed that is open", open},
	{"a feed between them that is open", open},
	{"its trimmer is set", []yard.Kind{yard.SupplySag}},
	{"it is overloaded, or hot", []yard.Kind{yard.HotSupply, yard.SupplySag}},
	{"the lead, its fuse holder", []yard.Kind{yard.JointLead}},
	{"the supply is set low", []yard.Kind{yard.SupplySag}},
	{"the joint between the two", []yard.Kind{yard.JointPositive, yard.JointReturn}},
	{"one joint between them", []yard.Kind{yard.JointPositive, yard.JointReturn}},
	{"thinner or clad wire", []yard.Kind{yard.ThinWire}},
	{"the joint from", broken},
	{"controller ", []yard.Kind{yard.WrongDelivery, yard.Frozen, yard.OwnTest, yard.SwitchStops}},
	{"universe", []yard.Kind{yard.WrongDelivery, yard.SwitchStops}},
	{"supply ", []yard.Kind{yard.SupplyOff, yard.SupplySag, yard.HotSupply}},
	{"chip ", []yard.Kind{yard.WrongChip}},
	{"the supply", []yard.Kind{yard.SupplyOff, yard.SupplySag}},
}

var (
	broken = []yard.Kind{yard.BrokenPositive, yard.BrokenReturn, yard.BrokenData, yard.DeadChip}
	open   = []yard.Kind{yard.FuseBlown, yard.FeedOff}
	feedAt = regexp.MustCompile(`the feed at (\w+) is open`)
	halfAt = regexp.MustCompile(`Read the volts at pixel (\d+), halfway`)
)

// read takes the sentences of a list as guesses, for a place and a feed (from 1).
func read(causes []string, s *config.String, place, feed int) []Guess {
	var out []Guess
	for _, c := range causes {
		low := strings.ToLower(c)
		for _, m := range meant {
			if !strings.Contains(low, m.words) {
				continue
			}
			g := Guess{Kinds: m.kinds, Place: place}
			if slices.Contains(m.kinds, yard.FuseBlown) || slices.Contains(m.kinds, yard.JointLead) {
				g.Feed = feed
			}
			if at := feedAt.FindStringSubmatch(c); at != nil {
				g.Feed = 1 + slices.IndexFunc(s.Feeds, func(f *config.Feed) bool { return f.At == at[1] })
			}
			out = append(out, g)
			break
		}
	}
	return out
}

// halfway is the pixel that a list asks to measure next; 0: none.
func halfway(next []string) int {
	for _, n := range next {
		if m := halfAt.FindStringSubmatch(n); m != nil {
			pixel, _ := strconv.Atoi(m[1])
			return pixel
		}
	}
	return 0
}

var lostAt = regexp.MustCompile(`lost between pixel (\d+) and pixel (\d+)`)

// between is the pixel ahead of the piece that volts are lost in; 0: none is named.
func between(finding string) int {
	if m := lostAt.FindStringSubmatch(finding); m != nil {
		from, _ := strconv.Atoi(m[1])
		return from
	}
	return 0
}
