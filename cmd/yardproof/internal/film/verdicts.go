package film

import (
	"fmt"
	"math"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/patterns"
)

// confidence of a margin: wrong addresses lie below 40, right ones mostly above 150.
func confidence(margin float64) float64 { return min(.999, 1-math.Exp(-margin/20)) }

// verdicts says of every pixel what was seen of it.
func (j *judged) verdicts() {
	for k, l := range j.by {
		p := Pixel{String: j.Name, Pixel: k + 1, Verdict: NotSeen}
		if l != nil {
			p.X, p.Y, p.Confidence, p.Verdict = l.X, l.Y, confidence(l.Margin), Good
			switch {
			case k < len(j.colours.missing) && j.colours.missing[k] != "":
				p.Verdict, p.Detail = ColourMissing, colourNames(j.colours.missing[k])
			case j.how.first[k] != j.first[k]:
				p.Verdict, p.Detail = OtherAddress, j.yard.name(j.how.first[k], j.slots)
			case j.colours.order != "":
				p.Verdict, p.Detail = ColourOrder, string(j.colours.order)
			}
		} else if lamp, ok := j.shine[k]; ok {
			p.X, p.Y, p.Verdict, p.Confidence = lamp.X, lamp.Y, Stuck, lamp.sure
		} else if at, ok := j.between(k); ok {
			p.X, p.Y = at.x, at.y
		}
		j.pixels = append(j.pixels, p)
	}
}

// name says whose address it is.
func (y *yard) name(address, slots int) string {
	if o, ok := y.owner[address]; ok {
		return fmt.Sprintf("pixel %d of %s", o.pixel+1, y.strings[o.str].Name)
	}
	return y.channel(address)
}

// channel is an address as the trade writes it.
func (y *yard) channel(address int) string {
	if u := address / patterns.CodeUniverse; address >= 0 && u < len(y.plan.Map().Universes) {
		return fmt.Sprintf("universe %d, channel %d", y.plan.Map().Universes[u].Number, address%patterns.CodeUniverse+1)
	}
	return "an address outside the plan"
}

func colourNames(letters string) string {
	var names []string
	for i := range len(letters) {
		names = append(names, light.Colour(letters[i]))
	}
	return textout.And(names)
}
