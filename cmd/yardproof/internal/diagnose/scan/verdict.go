package scan

import (
	"fmt"
	"math"
)

// How sure a scan is before it stops, and how many readings it takes at most.
const (
	sure         = 0.95
	likely       = 0.8 // what is said at the end of the readings
	mostReadings = 100
	mostRounds   = 24
	badMisfit    = 3.5  // mean square of what is left over, in units of the noise, that one joint cannot explain
	standsOut    = 24   // milliohms: wire that is not even looks like less
	goodEnough   = 50   // milliohms: nothing is said to stand out before such a joint would have been seen
	fewPlaces    = 0.05 // a joint ahead of the last pixels carries too little to be seen, and does no harm
	leadBad      = 0.07 // ohms of a lead more than the plan's: more than a fuse and its plugs
	closeEnough  = 20   // a joint is placed to within a 20th of the string
)

// Verdict is what a scan knows, and which block to light next.
type Verdict struct {
	Done bool  `json:"done"`
	Next Block `json:"next"` // when it is not done; zero: dark

	Found      bool    `json:"found"`       // one joint stands out
	Joint      float64 `json:"joint"`       // how likely there is one, 0 to 1
	Before     int     `json:"before"`      // the joint is most likely between this pixel and the next on the way; 0: the lead
	After      int     `json:"after"`       //
	From       int     `json:"from"`        // and all but surely from pixel From
	To         int     `json:"to"`          // to pixel To; 0 and 0: in the lead
	Milliohms  float64 `json:"milliohms"`   // of the joint, both conductors together
	Lead       float64 `json:"lead"`        // milliohms of the lead more than the plan has
	Smallest   float64 `json:"smallest"`    // a joint of so many milliohms would have been seen at all but a few places
	LeadStands bool    `json:"lead_stands"` // the lead, or what is between it and the first pixels, is bad
	Misfit     bool    `json:"misfit"`      // one joint does not explain the readings
	Readings   int     `json:"readings"`    //
}

// Judge weighs the readings so far. Blocks must lie within the line's pixels.
func (l *Line) Judge(readings []Reading) (Verdict, error) {
	if len(readings) > mostReadings {
		return Verdict{}, fmt.Errorf("%d readings are too many for one scan: begin anew", len(readings))
	}
	for _, r := range readings {
		switch {
		case r.Block == (Block{}):
		case r.First < 1 || r.Last < r.First || r.First < l.From || r.Last > l.To:
			return Verdict{}, fmt.Errorf("pixels %d to %d are no block between %d and %d", r.First, r.Last, l.From, l.To)
		}
		if math.IsNaN(r.Value) || math.Abs(r.Value) > 1000 {
			return Verdict{}, fmt.Errorf("%g is not a reading", r.Value)
		}
	}
	s := l.weigh(readings)
	v := s.verdict(len(readings))
	if v.Done = v.Done || v.Readings >= mostRounds; !v.Done {
		v.Next = s.next(readings)
	}
	return v, nil
}

func (s *state) verdict(n int) Verdict {
	v := Verdict{Joint: 1 - s.all[0].weight, Readings: n}
	at := make([]float64, len(s.line.ohms))
	best, ohms, left := &s.all[0], 0.0, 0.0
	for i := range s.all[1:] {
		h := &s.all[i+1]
		at[h.joint] += h.weight
		if h.weight > best.weight || best.joint < 0 {
			best = h
		}
	}
	top := 0
	for k := range at {
		if at[k] > at[top] {
			top = k
		}
	}
	for i := range s.all[1:] {
		if h := &s.all[i+1]; h.joint == top {
			ohms, left = ohms+h.weight*h.ohms, left+h.weight
		}
	}
	v.Milliohms = 1000 * ohms / max(left, 1e-300)
	v.Lead = 1000 * s.all[0].fit.mean[2]
	if v.Joint > 0.5 {
		v.Lead = 1000 * best.fit.mean[2]
	}
	if top == 0 {
		v.Lead += v.Milliohms
	}
	from, to := s.within(at, top)
	v.Before, v.After = s.between(top)
	v.From, _ = s.between(from)
	_, v.To = s.between(to)
	if v.From > v.To {
		v.From, v.To = v.To, v.From
	}
	v.Found = v.Joint >= likely && v.Milliohms >= standsOut
	v.Smallest = 1000 * s.unseen()
	v.LeadStands = s.line.Quantity == Volts && v.Lead > leadBad*1000
	wide := max(2, len(at)/closeEnough)
	fits := s.all[0].fit
	if v.Joint > 0.5 {
		fits = best.fit
	}
	v.Misfit = n >= 8 && fits.misfit > badMisfit*float64(n)
	v.Done = n >= 6 && (v.Joint >= sure && to-from < wide || v.Joint <= 1-sure && v.Smallest <= goodEnough) || v.Misfit
	return v
}

// within is the shortest stretch around the likeliest place that all but surely has it.
func (s *state) within(at []float64, top int) (from, to int) {
	from, to = top, top
	want := sure * (1 - s.all[0].weight)
	for sum := at[top]; sum < want && (from > 0 || to < len(at)-1); {
		below, above := -1.0, -1.0
		if from > 0 {
			below = at[from-1]
		}
		if to < len(at)-1 {
			above = at[to+1]
		}
		if below > above {
			from--
			sum += below
		} else {
			to++
			sum += above
		}
	}
	return from, to
}

// between is the lit pixels beside a joint ahead of a node, on the way from the feed.
func (s *state) between(node int) (before, after int) {
	if node > 0 {
		before = s.line.pixel[node-1]
	}
	return before, s.line.pixel[node]
}

// unseen is the smallest joint that would have been seen nearly anywhere: at all but a
// few places the readings speak against it.
func (s *state) unseen() float64 {
	var open, all [len(sizes)]float64
	for i, h := range s.all[1:] {
		k := i % len(sizes)
		if all[k]++; h.fit.log > s.all[0].fit.log+math.Log(1-sure) {
			open[k]++
		}
	}
	for k := len(sizes) - 1; k >= 0; k-- {
		if open[k] > fewPlaces*all[k] {
			return sizes[min(k+1, len(sizes)-1)]
		}
	}
	return sizes[0]
}
