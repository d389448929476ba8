package diagnose

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"yardproof/cmd/yardproof/internal/diagnose/scan"
	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Scan is a search for a bad joint by a block of light that is moved along a string:
// what was read so far, and what follows.
type Scan struct {
	Quantity scan.Quantity  `json:"quantity"` // that is read
	Readings []scan.Reading `json:"readings"`
	Verdict  scan.Verdict   `json:"verdict"`
}

// scan answers what the readings of blocks say, or which block to light next.
func (y Yard) scan(q Question, s *config.String) (*Scan, Answer, error) {
	if s == nil {
		return nil, Answer{}, inputf("a scan needs the plan and the string, to know wire and current")
	}
	most := 0
	if y.Budget != nil {
		most = longestBlock(y.Budget, s)
	}
	line, err := scan.NewLine(y.Plan, y.Budget, s, most)
	switch {
	case errors.Is(err, scan.ErrNot):
		return nil, Answer{}, &InputError{err.Error()}
	case err != nil:
		return nil, Answer{}, err
	case most == 0:
		return nil, Answer{}, inputf("%s cannot be scanned: its fuses and supply do not allow one pixel at 100 %%", s.Name)
	}
	v, err := line.Judge(q.Scan)
	if err != nil {
		return nil, Answer{}, &InputError{err.Error()}
	}
	return &Scan{line.Quantity, slices.Clone(q.Scan), v}, scanAnswer(s, line, v), nil
}

// longestBlock is how many neighbours may be lit at 100 %, wherever they are. Where a
// fuse or supply is not known it is a third of the string at most, as white has it.
func longestBlock(b *budget.Budget, s *config.String) int {
	p, _ := patterns.Lookup(patterns.Block)
	duty := make([]float64, s.Index+1)
	layout := light.Layout(s)
	most := patterns.MostBlock(s.Pixels)
	refused := func(n int) bool {
		duty[s.Index] = p.Worst(layout, patterns.Options{First: 1, Last: n})
		c := light.Limit(b, p, duty)
		return c.Bound < 1 || c.Level < c.Bound && 3*n > max(3, s.Pixels)
	}
	return sort.Search(most, func(n int) bool { return refused(n + 1) })
}

func scanAnswer(s *config.String, line *scan.Line, v scan.Verdict) Answer {
	a := Answer{Basis: "Ohm's and Kirchhoff's laws; what wire and meters may be off by is common practice, no source", Caution: Caution, Causes: []string{}, Next: []string{}}
	across := []string{"Measure millivolts across it, on each conductor, while pixels beyond it are white.", "Switch off and isolate, then make a new joint.", "Scan again: another one may have been hidden."}
	if line.Quantity == scan.Amps {
		across[0] = "The clamp was round V+: the joint is in V+. For the return, scan once more with the clamp round the return of that feed."
	}
	switch {
	case !v.Done:
		what := fmt.Sprintf("the volts between V+ and return at pixel %d, where no feed is", line.At)
		if line.Quantity == scan.Amps {
			what = fmt.Sprintf("the amps in the positive conductor of the feed at %s", s.Feeds[0].At)
		}
		a.Finding = fmt.Sprintf("%s so far. The joint is not placed yet.", textout.Count(v.Readings, "reading", "readings"))
		a.Next = []string{
			blockText(v.Next),
			"Read " + what + ". Keep the probes or the clamp where they are for the whole scan.",
		}
	case v.Misfit:
		a.Wrong = true
		a.Finding = "One bad joint does not explain these readings."
		a.Causes = []string{"two bad joints", "dark pixels in a block", "a probe or the clamp was moved, or a reading belongs to another block"}
		a.Next = []string{"Show full-white and look for dark pixels.", "Scan again."}
	case v.Found && v.Before == 0:
		a.Wrong = true
		a.Finding = fmt.Sprintf("About %.0f milliohm too many are in the lead or at the first pixels.", v.Milliohms)
		a.Causes = []string{"the fuse holder, a plug or a joint of the lead", "a lead that is longer or thinner than the plan says"}
		a.Next = across
	case v.Found:
		a.Wrong = true
		a.Finding = fmt.Sprintf("A joint of about %.0f milliohm is between pixel %d and pixel %d%s.", v.Milliohms, min(v.Before, v.After), max(v.Before, v.After), spread(v))
		a.Causes = []string{"the joint between the two, in V+ or in the return"}
		if line.Quantity == scan.Amps {
			a.Causes[0] = "the joint between the two, in V+"
		}
		a.Next = across
	case v.LeadStands:
		a.Wrong = true
		a.Finding = fmt.Sprintf("No joint of the string stands out. The lead has about %.0f milliohm more than the plan says.", v.Lead)
		a.Causes = []string{"the fuse holder, a plug or a joint of the lead", "a lead that is longer or thinner than the plan says"}
		a.Next = across
	default:
		a.Finding = fmt.Sprintf("No joint stands out. One of %.0f milliohm would have been seen, but for one at the last pixels before the meter.", math.Ceil(v.Smallest))
	}
	return a
}

func blockText(b scan.Block) string {
	if b == (scan.Block{}) {
		return "Show dark."
	}
	return fmt.Sprintf("Light pixels %d to %d at 100 %%, the rest dark: pattern block, %d-%d.", b.First, b.Last, b.First, b.Last)
}

// spread says how far off the place may be.
func spread(v scan.Verdict) string {
	if v.To-v.From <= 1 {
		return ""
	}
	return fmt.Sprintf(", all but surely between %d and %d", max(1, v.From), v.To)
}
