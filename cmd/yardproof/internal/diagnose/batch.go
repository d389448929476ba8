package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
)

// Batch is strings of one make: the same chip, volts and amps of a pixel in the plan.
// Its first good string sets the amps of a pixel, and its sisters are compared with
// the median.
type Batch struct {
	Chip    string   `json:"chip"`
	Planned float64  `json:"planned_amps_per_pixel"`
	Amps    float64  `json:"amps_per_pixel"` // by the median of what was read; to be offered, never set unasked
	Sisters []Sister `json:"strings"`
}

// Sister is one string of a batch, by its latest good proof with a white reading.
type Sister struct {
	Name   string  `json:"name"`
	Amps   float64 `json:"amps_per_pixel"`
	Short  float64 `json:"short_pixels"` // pixels' worth below the batch's median; negative: above
	Give   float64 `json:"give_or_take"` // the meter's error in pixels' worth
	Stands bool    `json:"stands_apart"` // Short is more than the meter explains
	ratio  float64 // read over expected, both without the dark's
	adds   float64 // expected amperes of white beyond the dark's, of the feeds that were read
}

// batches works out the batches of a plan from the record.
func batches(p *config.Plan, b *budget.Budget, lines []record.Line, m config.Meter) []Batch {
	type key struct {
		chip  string
		volts float64
		amps  float64
	}
	index := map[key]int{}
	var all []Batch
	for _, s := range p.Strings {
		planned := b.Strings[s.Index].Chip.AmpsPerPixel
		sister, ok := latest(s.Name, lines)
		if !ok || planned <= 0 {
			continue
		}
		k := key{s.Chip.Name, s.Volts, planned}
		i, known := index[k]
		if !known {
			i = len(all)
			index[k] = i
			all = append(all, Batch{Chip: s.Chip.Name, Planned: planned})
		}
		sister.Amps = planned * sister.ratio
		all[i].Sisters = append(all[i].Sisters, sister)
	}
	for i := range all {
		all[i].judge(m)
	}
	return all
}

func (b *Batch) judge(m config.Meter) {
	ratios := make([]float64, len(b.Sisters))
	for i, s := range b.Sisters {
		ratios[i] = s.ratio
	}
	slices.Sort(ratios)
	n := len(ratios)
	median := (ratios[(n-1)/2] + ratios[n/2]) / 2
	b.Amps = b.Planned * median
	for i := range b.Sisters {
		s := &b.Sisters[i]
		s.Short = s.adds * (median - s.ratio) / b.Amps
		s.Give = math.Ceil(m.Error(s.adds*s.ratio)/b.Amps - 1e-9)
		s.Stands = math.Abs(s.Short) > s.Give
	}
}

// latest finds the string's latest good proof with a white current whose
// expectation was stamped, and a dark one of the same feed where there is one.
func latest(name string, lines []record.Line) (Sister, bool) {
	for i := len(lines) - 1; i >= 0; i-- {
		l := lines[i]
		if l.String != name {
			continue
		}
		if l.Kind == record.Replaced {
			break
		}
		if l.Kind != record.Proof || l.Verdict != record.Good {
			continue
		}
		read, expected := 0.0, 0.0
		for _, w := range l.Readings {
			if !w.Amps(record.WhileWhite) || w.Expected == nil {
				continue
			}
			amps, adds := w.Value, *w.Expected
			for _, d := range l.Readings {
				if d.Amps(record.WhileDark) && d.Feed == w.Feed && d.Expected != nil {
					amps, adds = amps-d.Value, adds-*d.Expected // with their signs, as in Amps
					break
				}
			}
			read, expected = read+math.Abs(amps), expected+adds
		}
		if expected > 0 && read > 0 {
			return Sister{Name: name, ratio: read / expected, adds: expected}, true
		}
	}
	return Sister{}, false
}

// batchAnswer says what the batches tell.
func batchAnswer(all []Batch) Answer {
	a := Answer{Basis: Practice, Causes: []string{}, Next: []string{}}
	if len(all) == 0 {
		a.Finding = "No good proof in the record has a white current beside its expectation."
		a.Next = []string{"Prove a string whose count is right with ends, and read its current dark and white."}
		return a
	}
	read, apart := 0, 0
	for _, b := range all {
		read += len(b.Sisters)
		if math.Abs(b.Amps/b.Planned-1) > 0.05 {
			a.PlanLines = append(a.PlanLines, fmt.Sprintf("amps_per_pixel: %.4f   # %s, %.4f in the plan, the median of %s", b.Amps, b.Chip, b.Planned, textout.Count(len(b.Sisters), "string", "strings")))
		}
		sisters := slices.SortedFunc(slices.Values(b.Sisters), func(x, y Sister) int { return cmp.Compare(math.Abs(y.Short), math.Abs(x.Short)) })
		for _, s := range sisters {
			if !s.Stands {
				continue
			}
			apart++
			how := "less"
			if s.Short < 0 {
				how = "more"
			}
			a.Next = append(a.Next, fmt.Sprintf("%s draws about %.0f pixels (give or take %.0f) %s than its sisters. Count with ends, look with one-slot.", s.Name, math.Abs(s.Short), s.Give, how))
		}
	}
	a.Finding = fmt.Sprintf("%s in %s.", textout.Count(read, "string was read", "strings were read"), textout.Count(len(all), "batch", "batches"))
	switch {
	case apart > 0:
		a.Wrong = true
		a.Finding += fmt.Sprintf(" %s apart from the rest.", textout.Count(apart, "stands", "stand"))
	case len(a.PlanLines) == 0:
		a.Finding += " They draw what the plan expects."
	}
	if len(a.PlanLines) > 0 {
		a.Finding += " A batch draws another current than the plan expects; datasheets are often 20 to 40 % off."
		a.Next = append(a.Next, "If every pixel of these strings is lit in all its colours, put the amps_per_pixel into the plan.")
	}
	return a
}
