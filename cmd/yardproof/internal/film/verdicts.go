package film

import (
	"fmt"
	"math"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/patterns"
)

// stuckShare is how bright a place must be in the preamble, of what its neighbours
// give when they are lit.
const stuckShare = .3

// A pixel that is stuck is a point, and as bright at all times. A window has more light
// around it; what a bough hides for most of the film, or what only glows while its
// neighbours are lit, is brighter or darker in the mean than in the preamble. Of rendered
// stuck pixels in full view at most .08 of the light lay around, and means were from .84
// to 1.21.
const (
	pointShare  = .12
	besideShare = .3 // where the one beside it is stuck too: its light is around. The corner of a window has .37
	leastMean   = .7
	mostMean    = 1.5
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
		} else if x, y, lit, ok := j.between(k); ok {
			p.X, p.Y = x, y
			c := j.shines(x, y, lit, pointShare)
			if c == 0 && (j.stuckBeside(k-1) || j.stuckBeside(k+1)) {
				c = j.shines(x, y, lit, besideShare)
			}
			if c > 0 {
				p.Verdict, p.Confidence = Stuck, c
			}
		}
		j.pixels = append(j.pixels, p)
	}
}

// between is where a pixel that was not read should be, by the nearest two that were,
// and how bright those are when they are lit.
func (j *judged) between(k int) (x, y, lit float64, ok bool) {
	a, b := k-1, k+1
	for a >= 0 && j.by[a] == nil {
		a--
	}
	for b < len(j.by) && j.by[b] == nil {
		b++
	}
	if a < 0 || b >= len(j.by) || b-a > 5 {
		return 0, 0, 0, false
	}
	p, q := j.by[a], j.by[b]
	if math.Hypot(p.X-q.X, p.Y-q.Y) > 2*float64(b-a)*max(p.Pitch, q.Pitch) {
		return 0, 0, 0, false
	}
	s := float64(k-a) / float64(b-a)
	return p.X + s*(q.X-p.X), p.Y + s*(q.Y-p.Y), p.Mean + q.Mean, true // half of all chips are lit: twice the mean
}

// stuckBeside reports whether a pixel may be stuck beside another one.
func (j *judged) stuckBeside(k int) bool {
	if k < 0 || k >= len(j.by) || j.by[k] != nil {
		return false
	}
	x, y, lit, ok := j.between(k)
	return ok && j.shines(x, y, lit, besideShare) > 0
}

// shines is how sure it is that a place is lit while all is dark, with no more than a
// share of that light around it; 0: it is not.
func (j *judged) shines(x, y, lit, around float64) float64 {
	pitch := 0.0
	for _, f := range j.lights {
		pitch = max(pitch, j.got.Lights[f.light].Pitch)
	}
	most := 0.0
	for _, i := range j.others.Within(x, y, .35*pitch) {
		if l := j.got.Others[i]; l.Around < around*l.Dark && l.Mean > leastMean*l.Dark && l.Mean < mostMean*l.Dark {
			most = max(most, l.Dark)
		}
	}
	if most <= stuckShare*lit {
		return 0
	}
	return min(.99, .5+.5*most/max(lit, 1e-9))
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
